"""A random history of lots and tools, and the record it keeps of itself, beside the product."""

import random
from collections import Counter
from datetime import timedelta
from decimal import Decimal

import pytest

from shop.consignments import actions as consignments
from shop.consignments.models import Consignment
from shop.errors import Refused
from shop.ledger import actions
from shop.ledger.audit import differences
from shop.ledger.booking import split
from shop.ledger.goods_in import Goods, Pack, receive_goods
from shop.ledger.mixing import mix
from shop.ledger.models import MovementKind
from shop.lots.actions import release
from shop.lots.models import Container, Lot, LotStatus
from shop.recalls import actions as recalls
from shop.tools.actions import add_event
from shop.tools.repairing import Used, withdraw
from shop.trace import queries
from shop.trace.providers import Part, Use
from shop.waste.actions import enter as enter_waste
from shop.waste.actions import withdraw as withdraw_waste
from shop.waste.models import WasteEntry
from tests.factories.shop import NOW, make_material, make_tool


class Pots:
    """Pots and the tools they went into, as the history poured them."""

    def __init__(self):
        self.tools = {}

    def uses(self, counterparts):
        return {
            text: Use(text, text, "/", NOW, (), (), tuple(self._parts(text)))
            for text in counterparts
            if text in self.tools
        }

    def _parts(self, text):
        return [Part(f"pour:{pk}", str(pk), pk, Decimal(1)) for pk in sorted(self.tools[text])]

    def counterparts_of(self, castings):
        ids = {int(text.removeprefix("pour:")) for text in castings if text.startswith("pour:")}
        return [text for text, tools in self.tools.items() if tools & ids]

    def castings_of(self, tool_id):
        return [f"pour:{tool_id}"]


class History:
    """
    Does random things and writes down beside the ledger what is in what.

    `inside` maps a container to the lots in it; `record` maps a use to the lots that went in, one
    entry an issue, so that an undone issue takes its own entry away. Undone moves between cans are
    left out: what they carried along stays a question of the can, not of the record.

    A lot is one at a site, so what came from another site into it is in all of it: `grown`.
    """

    def __init__(self, site, seed, elsewhere=None):
        self.site, self.rng, self.n = site, random.Random(seed), 0
        self.sites = [site, *([elsewhere] if elsewhere else [])]
        self.materials = [make_material(code=f"H{seed}{n}") for n in range(2)]
        self.tools = [make_tool(place, code=f"T{seed}-{n}")
                      for place in self.sites for n in range(4)]  # fmt: skip
        self.under_way, self.grown = set(), {}
        self.pots, self.inside, self.record, self.recalled = Pots(), {}, {}, set()
        self.came, self.waste, self.done = {}, {}, Counter()

    def key(self):
        self.n += 1
        return f"h:{self.n}"

    @property
    def at(self):
        return NOW + timedelta(minutes=self.n)

    def usable(self):
        rows = Container.objects.filter(balance__gt=1, lot__status=LotStatus.RELEASED)
        rows = rows.filter(consignment=None)
        return list(rows.select_related("lot__site").order_by("pk"))

    def tools_at(self, site_id):
        return [tool for tool in self.tools if tool.site_id == site_id]

    def arrive(self):
        material = self.rng.choice(self.materials)
        code = self.rng.choice(["A-1", "a-1", "B-2", "C-3", "c-3"])
        goods = Goods(material, code, [Pack(Decimal(self.rng.randint(3, 9)))])
        key, late = self.key(), timedelta(hours=self.rng.choice([0, 0, 30]))
        at = self.at - late
        site = self.rng.choice(self.sites)
        [got] = receive_goods(site=site, goods=[goods], key=key, received_at=at)
        name = (material.pk, code.upper())
        if {(None, *name), (site.pk, *name)} & self.recalled:
            assert got.lot.status == LotStatus.HELD
        for can in got.containers:
            self.inside[can.pk], self.came[can.pk] = {got.lot.pk}, at

    def stopped(self, lot):
        return Lot.objects.get(pk=lot.pk).status == LotStatus.HELD

    def part(self):
        cans = self.usable()
        if cans:
            can = self.rng.choice(cans)
            new = split(container=can, quantity=Decimal(1), key=self.key(), by=None)
            self.inside[new.pk] = set(self.inside[can.pk])

    def together(self):
        cans = self.usable()
        self.rng.shuffle(cans)
        for one in cans:
            for two in cans:
                kind = (one.lot.material_id, one.lot.site_id)
                if kind == (two.lot.material_id, two.lot.site_id) and one.lot_id != two.lot_id:
                    parts = [(one.pk, Decimal(1)), (two.pk, Decimal(1))]
                    new = mix(parts=parts, key=self.key(), at=self.at)
                    both = self.inside[one.pk] | self.inside[two.pk]
                    self.inside[new.pk] = both | {new.lot_id}
                    return

    def use(self):
        cans = self.usable()
        if not cans:
            return
        can, key = self.rng.choice(cans), self.key()
        kind = self.rng.choice(["pot", "pot", "pot", "tool", "words"])
        site_id = can.lot.site_id
        tool = self.rng.choice(self.tools_at(site_id))
        if kind == "pot":
            side = f"batch:{100 * site_id + self.rng.randint(1, 6)}"
            self.pots.tools.setdefault(side, set()).add(tool.pk)
        else:
            side = f"tool:{tool.pk}" if kind == "tool" else "other:a training day"
        late = self.came.get(can.pk, self.at)
        actions.issue(
            container_id=can.pk, quantity=Decimal("0.5"), key=key, counterpart=side,
            happened_at=self.rng.choice([self.at, self.at, late]),
        )  # fmt: skip
        told = side if kind != "words" else f"{side} at {site_id}"
        self.record[key] = (told, frozenset(self.inside[can.pk]))

    def repour(self):
        """What was left of a pot went into one more tool."""
        if self.pots.tools:
            side = self.rng.choice(sorted(self.pots.tools))
            site_id = int(side.removeprefix("batch:")) // 100
            self.pots.tools[side].add(self.rng.choice(self.tools_at(site_id)).pk)

    def repair(self):
        tool = self.rng.choice(self.tools)
        cans = [can for can in self.usable() if can.lot.site_id == tool.site_id]
        taken = self.rng.sample(cans, min(len(cans), self.rng.randint(0, 2)))
        event = add_event(
            tool_id=tool.pk, kind="repair", key=self.key(), at=self.at,
            used=[Used(can, Decimal("0.25")) for can in taken],
        )  # fmt: skip
        for can in taken:
            name = f"repair:{event.pk}:{can.pk}"
            self.record[name] = (f"tool:{tool.pk}", frozenset(self.inside[can.pk]))

    def lose(self):
        cans = self.usable()
        if not cans:
            return
        can, key = self.rng.choice(cans), self.key()
        kind = self.rng.choice(["sample", "scrap", "return", "count"])
        if kind == "count":
            actions.adjust(
                container_id=can.pk, counted=can.balance - Decimal("0.1"), expected=can.balance,
                key=key, happened_at=self.at,
            )  # fmt: skip
            return
        actions.take_out(
            kind=MovementKind(kind), container_id=can.pk, quantity=Decimal("0.25"), key=key,
            counterpart="waste", happened_at=self.at,
        )  # fmt: skip

    def throw_away(self):
        """Residue or wipes of a lot, a pot or a tool; now and then an entry is withdrawn."""
        if self.waste and self.rng.random() < 0.3:
            pk = self.rng.choice(sorted(self.waste))
            withdraw_waste(entry=WasteEntry.objects.get(pk=pk), words="twice")
            del self.waste[pk]
            return
        site = self.rng.choice(self.sites)
        own = f"batch:{site.pk}0"
        sides = [side for side in sorted(self.pots.tools) if side.startswith(own)]
        sides += [f"tool:{tool.pk}" for tool in self.tools_at(site.pk)]
        lot = self.rng.choice([None, *Lot.objects.filter(site=site).order_by("pk")])
        side = "" if lot else self.rng.choice(sides)
        made = enter_waste(
            site=site, kind="residue", mass_kg=Decimal("0.1"), key=self.key(), at=self.at,
            lot=lot, counterpart=side,
        )  # fmt: skip
        self.waste[made.pk] = (lot.pk if lot else None, side, site.pk)

    def send(self):
        cans = self.usable()
        if not cans or len(self.sites) < 2:
            return
        can = self.rng.choice(cans)
        [to] = [site for site in self.sites if site.pk != can.lot.site_id]
        made = consignments.send(
            site=can.lot.site, to_site=to, goods=[(can, Decimal(1))], key=self.key()
        )
        self.inside[made.lines.get().transit_id] = set(self.inside[can.pk])
        self.under_way.add(made.pk)

    def take_in(self):
        if not self.under_way:
            return
        made = Consignment.objects.get(pk=self.rng.choice(sorted(self.under_way)))
        self.under_way.discard(made.pk)
        if self.rng.random() < 0.2:
            consignments.take_back(consignment=made)
            return
        line = made.lines.get()
        came, short = self.rng.choice([(1, False), (1, False), (1, True), ("0.4", True)])
        consignments.receive(
            arrival=made.arrival, came=[consignments.Came(line, Decimal(came))], key=self.key(),
            short=short, words="spilt" if short else "",
        )  # fmt: skip
        got = Container.objects.get(movements__counterpart=f"container:{line.transit_id}",
                                    lot__site=made.to_site)  # fmt: skip
        was = self.inside[line.transit_id]
        self.inside[got.pk] = was | {got.lot_id}
        self.grown.setdefault(got.lot_id, set()).update(was)

    def correct(self):
        if not self.record:
            return
        key = self.rng.choice(sorted(self.record))
        if not key.startswith("repair:"):
            actions.reverse(
                key_of_original=key, key=self.key(), reason="wrong can", happened_at=self.at
            )
            del self.record[key]
            return
        event = key.split(":")[1]
        withdraw(event_id=int(event), words="another tool", key=self.key())
        self.record = {
            name: row for name, row in self.record.items()
            if not name.startswith(f"repair:{event}:")
        }  # fmt: skip

    def recall(self):
        lots = list(Lot.objects.filter(mixed=False).order_by("pk"))
        if lots and self.rng.random() < 0.15:
            lot = self.rng.choice(lots)
            touched = self.touched(lot.pk)
            recalls.recall(lot_id=lot.pk, reason="notice", at=self.at)
            for pk in touched:
                assert self.stopped(Lot.objects.get(pk=pk))
                with pytest.raises(Refused):
                    release(pk, reason="looks fine")
            everywhere = self.holding(lot.pk)
            self.recalled |= {
                (None if one.pk in everywhere else one.site_id, one.material_id, one.code.upper())
                for one in Lot.objects.filter(pk__in=touched)
            }

    # What the record says.

    def tools_of(self, side):
        if side.startswith("tool:"):
            return {int(side.removeprefix("tool:"))}
        return self.pots.tools.get(side, set())

    def places_of(self, side):
        """The castings a use went into; what went onto a tool itself is in none of them."""
        return {(side.partition(":")[0], tool) for tool in self.tools_of(side)}

    def whole(self, lots):
        """The lots, and those that came into them from another site."""
        found, fresh = set(lots), set(lots)
        while fresh:
            fresh = {pk for lot in fresh for pk in self.grown.get(lot, ())} - found
            found |= fresh
        return found

    def records(self):
        return [(side, self.whole(lots)) for side, lots in self.record.values()]

    def lots_in(self, tool_id):
        return {pk for side, lots in self.records() if tool_id in self.tools_of(side)
                for pk in lots}  # fmt: skip

    def holding(self, lot_id):
        cans = [can for can, lots in self.inside.items() if lot_id in self.whole(lots)]
        return {lot_id, *(Container.objects.get(pk=can).lot_id for can in cans)}

    def waste_of_lot(self, lot):
        lots = self.holding(lot.pk)
        sides = {side for side, inside in self.records() if lot.pk in inside}
        return {pk for pk, (own, side, site) in self.waste.items()
                if site == lot.site_id and (own in lots or side in sides)}  # fmt: skip

    def waste_of_tool(self, tool_id):
        return {pk for pk, (_, side, _) in self.waste.items() if side and tool_id in
                self.tools_of(side)}  # fmt: skip

    def touched(self, lot_id):
        holding, records = self.holding(lot_id), self.records()
        sides = {side for side, lots in records if lot_id in lots}
        places = {place for side in sides for place in self.places_of(side)}
        met = {pk for side, lots in records
               if side in sides or places & self.places_of(side) for pk in lots}  # fmt: skip
        return holding | met

    # What is done, and what the product must say of it.

    def go_on(self, frozen, steps):
        """Do random things, one after another."""
        usual = [self.arrive, self.part, self.together, self.correct, self.recall, self.repair,
                 self.lose, self.repour, self.throw_away, self.send, self.take_in]  # fmt: skip
        self.arrive()
        for _ in range(steps):
            frozen.move_to(self.at + timedelta(minutes=5))
            one = self.rng.choice([*usual, self.arrive, self.use, self.use, self.use])
            one()
            self.done[one.__name__] += 1

    def judge(self):
        """Compare every trace with the record."""
        for tool in self.tools:
            trace = queries.tool_trace(tool)
            assert {lot.pk for lot in trace.lots} == self.lots_in(tool.pk), tool
            assert {row.entry.pk for row in trace.waste} == self.waste_of_tool(tool.pk), tool
        for lot in Lot.objects.all():
            trace = queries.lot_trace(lot)
            used = {tool.pk for tool in self.tools_at(lot.site_id)
                    if lot.pk in self.lots_in(tool.pk)}  # fmt: skip
            assert {tool.pk for tool in trace.tools} == used, lot
            assert {row.entry.pk for row in trace.waste} == self.waste_of_lot(lot), lot
            assert {one.pk for one in queries.touched_lots(lot)} == self.touched(lot.pk), lot
        assert differences() == []
