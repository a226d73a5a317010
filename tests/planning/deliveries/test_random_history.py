"""Whatever is sent, taken back, barred and repeated: the notes agree with an account apart."""

import os

import pytest

from tests.planning.deliveries.random_history import Bench

pytestmark = pytest.mark.django_db
SEEDS = int(os.environ.get("DELIVERY_HISTORIES", "2"))
"""In the build; 40 were run on 2026-11-30."""
STEPS = 30


@pytest.mark.parametrize("seed", range(SEEDS))
def test_notes_agree_with_an_account_apart(ready, shop_site, now, seed):
    pours = [ready(f"T-{n}") for n in range(5)]
    bench = Bench(shop_site, pours, now, seed)
    for _ in range(STEPS):
        bench.step()
        bench.judge()
    assert {"sent", "back", "refused"} <= set(bench.done), bench.done
