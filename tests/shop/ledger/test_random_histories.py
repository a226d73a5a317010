"""Any history of receipts, reservations, issues, counts and reversals keeps the rules."""

import contextlib
from datetime import timedelta
from decimal import Decimal

import pytest
from django.db import transaction
from django.db.models import Sum
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    invariant,
    rule,
    run_state_machine_as_test,
)

from shop.core import balances as core
from shop.errors import AlreadyReversed, KeyReused, NotEnoughStock
from shop.ledger import actions
from shop.ledger.audit import differences
from shop.ledger.models import Movement, MovementKind, Reservation
from shop.ledger.reservations import free_reservations, reserve
from shop.lots.models import Container
from tests.factories.shop import NOW, make_container, make_lot

QUANTITY = st.integers(1, 60_000).map(lambda n: Decimal(n) / 10_000)
WHICH = st.integers(0, 2)
PURPOSE = st.sampled_from(["", "use:1", "use:2", "use:3"])
"""Begins unlike what planning answers for: the audit asks planning about its own uses only."""


class Ledger(RuleBasedStateMachine):
    """The model is the plain sum of what the stores said they did."""

    def __init__(self):
        super().__init__()
        self.atom = transaction.atomic()
        self.atom.__enter__()
        lot = make_lot()
        self.cans = [make_container(lot) for _ in range(3)]
        self.held = {can.pk: Decimal(0) for can in self.cans}
        self.keys, self.moved, self.undone, self.n = [], set(), set(), 0

    def _next(self):
        self.n += 1
        return f"move:{self.n}"

    def _about(self, key):
        return {
            "key": key,
            "counterpart": "batch:1",
            "happened_at": NOW + timedelta(seconds=self.n),
        }

    @rule(which=WHICH, quantity=QUANTITY)
    def receive(self, which, quantity):
        can, key = self.cans[which], self._next()
        actions.receive(container_id=can.pk, quantity=quantity, **self._about(key))
        self.held[can.pk] += quantity
        self.keys.append(key)

    @rule(which=WHICH, quantity=QUANTITY, purpose=PURPOSE)
    def issue(self, which, quantity, purpose):
        can, key = self.cans[which], self._next()
        try:
            actions.issue(
                container_id=can.pk, quantity=quantity, purpose=purpose, **self._about(key)
            )
        except NotEnoughStock:
            return
        self.held[can.pk] -= quantity
        self.keys.append(key)

    @rule(which=WHICH, quantity=QUANTITY)
    def scrap(self, which, quantity):
        can, key = self.cans[which], self._next()
        enough = self.held[can.pk] >= quantity
        try:
            actions.take_out(
                kind=MovementKind.SCRAP, container_id=can.pk, quantity=quantity,
                **self._about(key),
            )  # fmt: skip
        except NotEnoughStock:
            assert not enough
            return
        assert enough
        self.held[can.pk] -= quantity
        self.keys.append(key)

    @rule(which=WHICH, quantity=QUANTITY, purpose=PURPOSE.filter(bool))
    def reserve(self, which, quantity, purpose):
        try:
            reserve(
                container_id=self.cans[which].pk, quantity=quantity, purpose=purpose, needed_at=NOW
            )
        except NotEnoughStock:
            return

    @rule(purpose=PURPOSE)
    def free(self, purpose):
        free_reservations(purposes=[purpose])

    @rule(which=WHICH, counted=QUANTITY)
    def count(self, which, counted):
        can, key = self.cans[which], self._next()
        actions.adjust(
            container_id=can.pk, counted=counted, expected=self.held[can.pk], key=key,
            happened_at=NOW + timedelta(seconds=self.n),
        )  # fmt: skip
        self.held[can.pk] = counted

    @rule(one=WHICH, step=st.integers(1, 2), quantity=QUANTITY)
    def transfer(self, one, step, quantity):
        source, target, key = self.cans[one], self.cans[(one + step) % 3], self._next()
        try:
            actions.transfer(
                from_container_id=source.pk, to_container_id=target.pk, quantity=quantity,
                key=key, happened_at=NOW + timedelta(seconds=self.n),
            )  # fmt: skip
        except NotEnoughStock:
            return
        self.held[source.pk] -= quantity
        self.held[target.pk] += quantity
        self.keys.append(key)
        self.moved.add(key)

    @rule(data=st.data())
    def reverse(self, data):
        if not self.keys:
            return
        original, key = data.draw(st.sampled_from(self.keys)), self._next()
        moves = Movement.objects.filter(key__in=[original, f"{original}:in", f"{original}:out"])
        before = [(m.container_id, m.quantity) for m in moves]
        at = NOW + timedelta(seconds=self.n)
        try:
            actions.reverse(key_of_original=original, key=key, reason="wrong", happened_at=at)
        except AlreadyReversed:
            assert original in self.undone
            return
        except NotEnoughStock:
            return
        assert original not in self.undone
        self.undone.add(original)
        for can, quantity in before:
            self.held[can] -= quantity

    @rule(data=st.data(), quantity=QUANTITY)
    def repeat(self, data, quantity):
        """A call made under a key that was used writes nothing, whatever it says."""
        plain = [key for key in self.keys if key not in self.moved]
        if not plain:
            return
        key, before = data.draw(st.sampled_from(plain)), Movement.objects.count()
        with contextlib.suppress(KeyReused):
            actions.issue(container_id=self.cans[0].pk, quantity=quantity, **self._about(key))
        assert Movement.objects.count() == before

    @invariant()
    def balances_are_what_was_done(self):
        rows = {can.pk: can for can in Container.objects.all()}
        assert {pk: row.balance for pk, row in rows.items()} == self.held
        assert all(0 <= row.reserved <= row.balance for row in rows.values())
        sums = dict(
            Reservation.objects.order_by().values_list("container").annotate(t=Sum("quantity"))
        )
        assert {pk: row.reserved for pk, row in rows.items()} == {
            pk: sums.get(pk, Decimal(0)) for pk in rows
        }

    def teardown(self):
        try:
            self.audited()
        finally:
            transaction.set_rollback(True)
            self.atom.__exit__(None, None, None)

    def taken_before_it_came(self):
        """Keys of what was taken from a can that, without what was undone, held less by then."""
        found, totals = set(), {can.pk: Decimal(0) for can in self.cans}
        kept = Movement.objects.filter(reverses=None, reversed_by=None)
        for move in kept.order_by("happened_at", "pk"):
            totals[move.container_id] += move.quantity
            if move.quantity < 0 and totals[move.container_id] < 0:
                found.add(move.key)
        return found

    def audited(self):
        told = differences()
        past = [one for one in told if one.kind == "below zero in the past"]
        assert [one for one in told if one not in past] == []
        keys = {one.words.split("movement ")[1].split(" took")[0] for one in past}
        assert keys == self.taken_before_it_came()
        ledger = [
            core.Movement(
                m.key, str(m.container_id), m.quantity, m.happened_at,
                m.reverses.key if m.reverses else None,
            )
            for m in Movement.objects.select_related("reverses").order_by("id")
        ]  # fmt: skip
        kept = {str(pk): held for pk, held in self.held.items()}
        assert core.audit(ledger, kept) == ()


@pytest.mark.django_db
def test_any_history_keeps_the_rules():
    run_state_machine_as_test(
        Ledger,
        settings=settings(max_examples=12, stateful_step_count=25, deadline=None),
    )


@pytest.mark.django_db
def test_the_states_are_really_reached():
    """Guard against a machine whose rules all end in a refusal."""
    machine = Ledger()
    machine.receive(0, Decimal(5))
    machine.transfer(0, 1, Decimal(2))
    machine.issue(0, Decimal(1), "")
    machine.count(1, Decimal("2.5"))
    machine.balances_are_what_was_done()
    assert machine.held[machine.cans[0].pk] == 2
    machine.teardown()
