"""
From every tool to every lot and back, through any history, judged by its own record.

Few seeds run with the build; `python -m tests.shop.trace.many_histories FIRST COUNT` runs others.
"""

import os
from collections import Counter

import pytest

from shop.trace import providers
from tests.shop.trace.history import History

pytestmark = pytest.mark.django_db
FIRST, COUNT = map(int, os.environ.get("HISTORIES", "0 5").split())
STEPS = 80
done: Counter[str] = Counter()


@pytest.mark.parametrize("seed", range(FIRST, FIRST + COUNT))
def test_any_history_is_traced_both_ways_as_its_own_record_says(
    site, other_site, monkeypatch, frozen, seed
):
    history = History(site, seed, other_site)
    known = dict(providers._providers)
    monkeypatch.setattr(providers, "_providers", known | {"batch:": history.pots})
    history.go_on(frozen, STEPS)
    history.judge()
    done.update(history.done)


def test_every_kind_of_step_was_taken():
    """Run last: a kind that no seed takes would be judged by nothing."""
    assert COUNT < 5 or not done or {
        "arrive", "part", "together", "use", "correct", "recall", "repair", "lose", "repour",
        "throw_away", "send", "take_in",
    } <= set(done)  # fmt: skip
