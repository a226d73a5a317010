"""
Random days of a shipping bench, judged by an account of its own.

The account keeps sets: which castings may go, and which are away with which note. It reads
nothing of the product but answers and the table of lines at the end.
"""

from __future__ import annotations

import random
from collections import Counter
from datetime import timedelta

from planning.batches.models import BatchEntry
from planning.deliveries import actions
from planning.deliveries.models import DeliveryLine, DeliveryNote
from planning.pours.models import Pour
from planning.pours.queries import shipped
from planning.weigh_in.models import CastingQuarantine
from shared.access.models import User
from shared.errors import ShopError
from shared.events.models import Event
from shop.models import Tool


def quarantine(pour):
    """Put a casting into quarantine because of an entry of some batch."""
    entry = BatchEntry.objects.first()
    if entry is None:
        from planning.batches.models import Batch
        from shop.models import Mixer

        site = pour.order.site
        batch = Batch.objects.create(
            site=site, number="B-1", system=pour.system, mixed_kg=1, pot_life_min=60,
            mixer=Mixer.objects.filter(site=site).first(),
            **dict.fromkeys(
                ("planned_start", "planned_contact", "planned_pour_start", "planned_pour_end",
                 "planned_end"), pour.order.created_at,
            ),
        )  # fmt: skip
        entry = BatchEntry.objects.create(
            batch=batch, kind="note", key="q", at=pour.order.created_at,
            recorded_at=pour.order.created_at, by=User.objects.first(),
        )  # fmt: skip
    CastingQuarantine.objects.update_or_create(
        pour=pour, entry=entry,
        defaults={"words": "doubt", "at": pour.order.created_at, "by": entry.by,
                  "released_at": None, "release_reason": ""},
    )  # fmt: skip


class Bench:
    """The account, and what is tried against the product."""

    def __init__(self, site, pours, now, seed):
        self.site, self.now, self.dice = site, now, random.Random(seed)
        self.pours = {pour.pk: pour for pour in pours}
        self.fit = set(self.pours)
        self.away: dict[int, str] = {}
        self.notes: dict[str, tuple[int, set[int]]] = {}
        self.told: Counter = Counter()
        self.done: Counter = Counter()

    def step(self):
        self.now += timedelta(minutes=self.dice.randint(0, 90))
        what = self.dice.choice(["send", "send", "back", "bar", "free", "repeat"])
        getattr(self, what)()

    def some(self, names):
        names = sorted(names)
        return self.dice.sample(names, self.dice.randint(1, len(names))) if names else []

    def send(self):
        fair = self.fit - set(self.away)
        asked = self.some(fair if self.dice.random() < 0.7 and fair else self.pours)
        may = all(pk in self.fit and pk not in self.away for pk in asked)
        key = f"k{len(self.notes)}"
        pours = [self.pours[pk] for pk in asked]
        try:
            note = actions.send(
                site=self.site, pours=pours, key=key, now=self.now, address="Dock 3"
            )
        except ShopError:
            assert not may, asked
            self.done["refused"] += 1
            return
        assert may, asked
        self.notes[key] = (note.pk, set(asked))
        self.away |= dict.fromkeys(asked, key)
        self.told["tool.shipped"] += len({p.order_id for p in pours})
        self.done["sent"] += 1

    def back(self):
        if not self.notes:
            return
        key = self.dice.choice(sorted(self.notes))
        mine = {pk for pk, at in self.away.items() if at == key}
        named = None if self.dice.random() < 0.4 else self.some(self.notes[key][1])
        may = bool(mine) if named is None else set(named) <= mine
        note = DeliveryNote.objects.get(pk=self.notes[key][0])
        pours = None if named is None else [self.pours[pk] for pk in named]
        try:
            actions.take_back(
                note=note, pours=pours, reason="wrong", now=self.now,
                key=f"b{self.done.total()}",
            )  # fmt: skip
        except ShopError:
            assert not may, (key, named)
            self.done["not away"] += 1
            return
        assert may, (key, named)
        came = mine if named is None else set(named)
        for pk in came:
            del self.away[pk]
        self.told["tool.shipment_taken_back"] += len({self.pours[pk].order_id for pk in came})
        self.done["back"] += 1

    def repeat(self):
        if self.notes:
            key = self.dice.choice(sorted(self.notes))
            pk, asked = self.notes[key]
            pours = [self.pours[one] for one in asked]
            note = actions.send(site=self.site, pours=pours, key=key, now=self.now)
            assert note.pk == pk
            self.done["repeated"] += 1

    def bar(self):
        pk = self.dice.choice(sorted(self.pours))
        if self.dice.random() < 0.5:
            quarantine(self.pours[pk])
        else:
            Tool.objects.filter(pk=self.pours[pk].order.tool_id).update(status="repair")
        self.fit.discard(pk)

    def free(self):
        pk = self.dice.choice(sorted(self.pours))
        CastingQuarantine.objects.filter(pour=pk).update(
            released_at=self.now, release_reason="judged sound"
        )
        Tool.objects.filter(pk=self.pours[pk].order.tool_id).update(status="in_service")
        self.fit.add(pk)

    def judge(self):
        """Compare what the product says with the account."""
        rows = Pour.objects.filter(pk__in=self.pours).select_related("order")
        assert {row.pk for row in rows if row.sent} == set(self.away)
        for row in rows:
            lines = list(DeliveryLine.objects.filter(pour=row).order_by("pk"))
            running = 0
            for line in lines:
                running += line.quantity
                assert running in (0, 1)
            assert running == (row.pk in self.away)
            if lines and running:
                assert lines[-1].note_id == self.notes[self.away[row.pk]][0]
            assert shipped(row.order) == ("all" if row.pk in self.away else "none")
        told = Event.objects.filter(kind__startswith="tool.ship").values_list("kind", flat=True)
        assert Counter(told) == self.told
