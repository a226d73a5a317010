"""Every plan that is confirmed holds at that minute, by an account that knows no planner."""

import pytest

from tests.planning.schedule.histories import History

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("seed", range(6))
def test_a_confirmed_plan_holds_and_loses_no_pour(take, shop_site, now, seed):
    tally = History(shop_site, take, now, seed).run(rounds=4)
    assert sum(count for what, count in tally.items() if what.startswith(("conf", "ref"))) >= 4


@pytest.mark.benchmark_run
@pytest.mark.parametrize("seed", range(1000, 1060))
def test_many_longer_histories(take, shop_site, now, seed):
    tally = History(shop_site, take, now, seed).run(rounds=8)
    print(seed, dict(tally))  # noqa: T201
