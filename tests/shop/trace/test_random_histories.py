"""From every tool to every lot and back, through any history, judged by its own record."""

import random
from datetime import timedelta
from decimal import Decimal

import pytest

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
from shop.trace import providers, queries
from shop.trace.providers import Part, Use
from tests.factories.shop import NOW, make_material, make_tool

pytestmark = pytest.mark.django_db
STEPS = 60


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
    """

    def __init__(self, site, seed):
        self.site, self.rng, self.n = site, random.Random(seed), 0
        self.materials = [make_material(code=f"H{seed}{n}") for n in range(2)]
        self.tools = [make_tool(site, code=f"T{seed}-{n}") for n in range(5)]
        self.pots, self.inside, self.record, self.recalled = Pots(), {}, {}, set()

    def key(self):
        self.n += 1
        return f"h:{self.n}"

    @property
    def at(self):
        return NOW + timedelta(minutes=self.n)

    def usable(self):
        rows = Container.objects.filter(balance__gt=1, lot__status=LotStatus.RELEASED)
        return list(rows.select_related("lot").order_by("pk"))

    def arrive(self):
        material = self.rng.choice(self.materials)
        code = self.rng.choice(["A-1", "a-1", "B-2", "C-3", "c-3"])
        goods = Goods(material, code, [Pack(Decimal(self.rng.randint(3, 9)))])
        [got] = receive_goods(site=self.site, goods=[goods], key=self.key(), received_at=self.at)
        name = (material.pk, code.upper())
        assert (got.lot.status == LotStatus.HELD) == (
            self.stopped(got.lot) or name in self.recalled
        )
        for can in got.containers:
            self.inside[can.pk] = {got.lot.pk}

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
                if one.lot.material_id == two.lot.material_id and one.lot_id != two.lot_id:
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
        tool = self.rng.choice(self.tools)
        if kind == "pot":
            side = f"batch:{self.rng.randint(1, 6)}"
            self.pots.tools.setdefault(side, set()).add(tool.pk)
        else:
            side = f"tool:{tool.pk}" if kind == "tool" else "other:a training day"
        actions.issue(
            container_id=can.pk, quantity=Decimal("0.5"), key=key, counterpart=side,
            happened_at=self.at,
        )  # fmt: skip
        self.record[key] = (side, frozenset(self.inside[can.pk]))

    def lose(self):
        cans = self.usable()
        if cans:
            kind = self.rng.choice([MovementKind.SAMPLE, MovementKind.SCRAP])
            actions.take_out(
                kind=kind, container_id=self.rng.choice(cans).pk, quantity=Decimal("0.25"),
                key=self.key(), counterpart="waste", happened_at=self.at,
            )  # fmt: skip

    def correct(self):
        if self.record:
            key = self.rng.choice(sorted(self.record))
            actions.reverse(
                key_of_original=key, key=self.key(), reason="wrong can", happened_at=self.at
            )
            del self.record[key]

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
            self.recalled |= {(one.material_id, one.code.upper())
                              for one in Lot.objects.filter(pk__in=touched)}  # fmt: skip

    # What the record says.

    def tools_of(self, side):
        if side.startswith("tool:"):
            return {int(side.removeprefix("tool:"))}
        return self.pots.tools.get(side, set())

    def places_of(self, side):
        """The castings a use went into; what went onto a tool itself is in none of them."""
        return {(side.partition(":")[0], tool) for tool in self.tools_of(side)}

    def lots_in(self, tool_id):
        return {pk for side, lots in self.record.values() if tool_id in self.tools_of(side)
                for pk in lots}  # fmt: skip

    def touched(self, lot_id):
        holding = {lot_id} | {own for can, lots in self.inside.items() if lot_id in lots
                              for own in [Container.objects.get(pk=can).lot_id]}  # fmt: skip
        sides = {side for side, lots in self.record.values() if lot_id in lots}
        places = {place for side in sides for place in self.places_of(side)}
        met = {pk for side, lots in self.record.values()
               if side in sides or places & self.places_of(side) for pk in lots}  # fmt: skip
        return holding | met


@pytest.mark.parametrize("seed", range(6))
def test_any_history_is_traced_both_ways_as_its_own_record_says(site, monkeypatch, frozen, seed):
    history = History(site, seed)
    known = dict(providers._providers)
    monkeypatch.setattr(providers, "_providers", known | {"batch:": history.pots})
    buttons = [history.arrive, history.arrive, history.part, history.together, history.use,
             history.use, history.use, history.lose, history.correct, history.recall]  # fmt: skip
    history.arrive()
    for _ in range(STEPS):
        frozen.move_to(history.at + timedelta(minutes=5))
        history.rng.choice(buttons)()
    for tool in history.tools:
        told = {lot.pk for lot in queries.tool_trace(tool).lots}
        assert told == history.lots_in(tool.pk), tool
    for lot in Lot.objects.all():
        trace = queries.lot_trace(lot)
        used = {tool.pk for tool in history.tools if lot.pk in history.lots_in(tool.pk)}
        assert {tool.pk for tool in trace.tools} == used, lot
        met = {one.pk for one in queries.touched_lots(lot)}
        assert met == history.touched(lot.pk), lot
    assert differences() == []
