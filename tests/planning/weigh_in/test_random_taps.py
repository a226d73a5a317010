"""Whatever two technicians tap in whatever order, pots, stock and castings stay true."""

import logging
import os
import time
import traceback
from collections import Counter
from datetime import timedelta

import pytest
from django.db import transaction
from django.test import Client

from planning.batches.models import Batch
from shop import stores
from shop.lots.models import Container, Lot
from tests.conftest import make_user
from tests.factories.floor import sign_off
from tests.planning.weigh_in.random_taps import Shift, Tap, taps_of

FIRST, COUNT = (int(text) for text in os.environ.get("TAPS", "0 40").split())
SHORT_CANS = {"DEMO-RES-Q-Q-077-1": "1.1", "DEMO-HARD-Q-HQ-021-1": "0.17"}
"""So little is left in the first cans that the sheet of the first batch takes two of each."""


@pytest.fixture
def floor(take, planned, shop_site, now):
    """Two batches: the first into lift 1 and another mould, the second into lift 2."""
    import time_machine

    for code, kg in SHORT_CANS.items():
        can = Container.objects.get(code=code)
        stores.issue(
            container_id=can.pk,
            quantity=can.balance - type(can.balance)(kg),
            key=f"before:{code}",
            counterpart="other:training",
            happened_at=now - timedelta(days=1),
        )
    planned(take("T-1", depth_mm="60"), take("T-2"), seconds=2)
    batches = list(Batch.objects.order_by("pk"))
    assert len(batches) == 2
    assert [batches[0].lines.count(), batches[0].portions.count()] == [4, 2]
    for batch in batches:
        sign_off(batch)
    Shift.material = dict(Container.objects.values_list("pk", "lot__material"))
    Shift.codes = dict(Container.objects.values_list("pk", "code"))
    Shift.expiry = dict(Lot.objects.values_list("pk", "expires_on"))
    clients = []
    logging.disable(logging.WARNING)
    with time_machine.travel(batches[0].planned_start, tick=False) as travel:
        for _ in range(2):
            client = Client()
            client.force_login(
                make_user("technician", shop_site),
                backend="django.contrib.auth.backends.ModelBackend",
            )
            clients.append(client)
        yield clients, travel
    logging.disable(logging.NOTSET)


def run(floor, seed: int, taps: list[Tap]) -> Counter:
    """Run one sequence and leave the shop as it was."""
    clients, travel = floor
    with transaction.atomic():
        try:
            return Shift(clients, travel, seed).run(taps)
        finally:
            transaction.set_rollback(True)


def shortest(floor, seed: int, taps: list[Tap]) -> list[Tap]:
    """Leave out what a failure does not need."""

    def fails(some: list[Tap]) -> bool:
        try:
            run(floor, seed, some)
        except Exception:  # whatever went wrong, it still does
            return True
        return False

    size = max(1, len(taps) // 2)
    while size:
        for start in range(len(taps) - size, -1, -size):
            fewer = [*taps[:start], *taps[start + size :]]
            if fails(fewer):
                taps = fewer
        size //= 2
    return taps


def test_no_sequence_of_taps_makes_pots_stock_or_castings_untrue(floor):
    tally, began = Counter(), time.monotonic()
    for seed in range(FIRST, FIRST + COUNT):
        taps = taps_of(seed)
        try:
            tally += run(floor, seed, taps)
        except Exception as error:
            few = shortest(floor, seed, taps)
            told = "\n".join(map(repr, few))
            where = traceback.extract_tb(error.__traceback__)[-1]
            words = f"seed {seed}: {error!r}\n{where.filename}:{where.lineno}\n{told}"
            pytest.fail(words, pytrace=False)
    print(  # noqa: T201 - asked for by whoever runs many
        f"{COUNT} sequences from {FIRST} in {time.monotonic() - began:.0f} s: {dict(tally)}"
    )
    for happened in ("entries contact", "entries poured", "late contact", "quarantined"):
        assert tally[happened] >= max(1, COUNT // 50), f"{happened}: too tame"
