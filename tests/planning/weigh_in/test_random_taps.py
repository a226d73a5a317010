"""Whatever two technicians tap in whatever order, pots, stock and castings stay true."""

import logging
import os
import time
import traceback
from collections import Counter
from collections.abc import Sequence
from contextlib import contextmanager
from datetime import timedelta
from itertools import groupby

import pytest
from django.db import transaction
from django.test import Client

from planning.batches.models import Batch
from shop import stores
from shop.lots.models import Container, Lot
from shop.materials.models import Material
from tests.conftest import make_user
from tests.factories.floor import sign_off
from tests.planning.weigh_in.random_taps import Shift
from tests.planning.weigh_in.taps_drawn import MEMBERS, Tap, parts_of

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
    Material.objects.filter(code="RES-Q").update(stir_before_use=True)
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


def run(floor, taps: list[Tap]) -> None:
    """Run one sequence and leave the shop as it was."""
    with left_as_it_was():
        shift = Shift(*floor, Counter())
        shift.run(taps)
        shift.end()


@contextmanager
def left_as_it_was():
    with transaction.atomic():
        try:
            yield
        finally:
            transaction.set_rollback(True)


class Failed(Exception):
    """A sequence that made something untrue."""

    def __init__(self, seed: int) -> None:
        self.seed = seed


def go_on(shift: Shift, seeds: Sequence[int], part: int = 0) -> None:
    """Run sequences from where a shift stands; what they share is tapped once."""
    for _, group in groupby(seeds, lambda seed: seed // MEMBERS[part]):
        some = list(group)
        with left_as_it_was():
            branch = shift.copy()
            try:
                branch.run(parts_of(some[0])[part])
                if part == len(MEMBERS) - 1:
                    branch.end()
            except Exception as error:
                raise Failed(some[0]) from error
            if part < len(MEMBERS) - 1:
                go_on(branch, some, part + 1)


def shortest(floor, taps: list[Tap]) -> list[Tap]:
    """Leave out what a failure does not need."""

    def fails(some: list[Tap]) -> bool:
        try:
            run(floor, some)
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
    try:
        with left_as_it_was():
            go_on(Shift(*floor, tally), range(FIRST, FIRST + COUNT))
    except Failed as failed:
        error = failed.__cause__
        few = shortest(floor, [tap for part in parts_of(failed.seed) for tap in part])
        told = "\n".join(map(repr, few))
        where = traceback.extract_tb(error.__traceback__)[-1]
        words = f"seed {failed.seed}: {error!r}\n{where.filename}:{where.lineno}\n{told}"
        pytest.fail(words, pytrace=False)
    print(  # noqa: T201 - asked for by whoever runs many
        f"{COUNT} sequences from {FIRST} in {time.monotonic() - began:.0f} s, "
        f"{time.process_time():.0f} s of processor: {dict(tally)}"
    )
    assert tally["sequences"] == COUNT
    for happened in ("entries contact", "entries poured", "late contact", "quarantined"):
        assert tally[happened] >= max(1, COUNT // 50), f"{happened}: too tame"
