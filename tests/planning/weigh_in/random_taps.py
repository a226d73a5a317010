"""
Random taps of two technicians at two pots, by the calls that the batch page makes.

A sequence is a list of taps drawn from a seed; each tap is a name and a few fractions, so that any
of them may be left out and the rest still means something. A failure is shown with the shortest
list found. Run many with `python -m tests.planning.weigh_in.many_taps FIRST COUNT`.
"""

from __future__ import annotations

import random
from collections import Counter
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from decimal import ROUND_DOWN, Decimal
from itertools import count
from typing import Any

from planning.batches.models import Batch
from planning.weigh_in.models import CastingQuarantine, GateRecord
from shop.lots.models import Lot
from tests.planning.weigh_in.taps_account import LATE_AFTER, ZERO, Account, Pot, bar_lot, lines_of

Tap = tuple[str, int, int, float, float, float]
"""Name, device, pot, and three fractions that say which and how much."""
WEIGHTS = {
    "weigh": 30, "other_can": 5, "empty": 3, "no_more": 5, "contact": 9, "mixed_anew": 2,
    "pour": 14, "pour_all": 2, "loss": 4, "trouble": 3, "scrap": 1, "amend": 4, "conditions": 2,
    "offline": 5, "online": 7, "reload": 6, "bar": 2, "clear": 2, "wait": 8, "later": 2,
}  # fmt: skip
KG_STEP = Decimal("0.0001")
FACTORS = (1.0, 1.0, 1.0, 1.0, 0.999, 0.6, 0.3, 1.004, 1.05, 1.6)


BACKBONE = (
    *((("weigh", 0, n / 4, 0.0, 0.0)) for n in range(4)), ("reload", 0, 0.0, 0.0, 0.0),
    ("contact", 0, 0.9, 0.0, 0.0), ("pour", 0, 0.0, 0.9, 0.9), ("pour", 0, 0.6, 0.9, 0.9),
    ("later", 0, 0.0, 0.0, 0.0),
    *((("weigh", 1, n / 2, 0.0, 0.0)) for n in range(2)), ("contact", 1, 0.9, 0.0, 0.0),
    ("pour", 1, 0.0, 0.9, 0.9),
)  # fmt: skip
"""A day as planned, by pot. Taps are strewn into it and some of it is left out."""


def taps_of(seed: int, most: int = 20) -> list[Tap]:
    """Return the taps of a seed."""
    dice = random.Random(seed)
    names, weights = list(WEIGHTS), list(WEIGHTS.values())
    day = BACKBONE[: dice.randint(5, len(BACKBONE))]
    found: list[Tap] = [
        (name, int(dice.random() < 0.2), pot, *rest)
        for name, pot, *rest in day
        if dice.random() < 0.94
    ]
    for _ in range(dice.randint(3, most)):
        name = dice.choices(names, weights)[0]
        fractions = (dice.random(), dice.random(), dice.random())
        at = dice.randint(0, len(found))
        pot = found[at - 1][2] if found and dice.random() < 0.8 else dice.randrange(2)
        found.insert(at, (name, dice.randrange(2), pot, *fractions))
    return found


@dataclass
class Device:
    """One technician's phone: what it has seen, and what waits to be sent."""

    number: int
    client: Any
    online: bool = True
    queue: list[dict[str, Any]] = field(default_factory=list)
    seen: dict[int, Decimal] = field(default_factory=dict)


class Shift:
    """A run of one sequence against the shop; raises where the account finds a fault."""

    def __init__(self, clients: list[Any], travel: Any, seed: int) -> None:
        batches = list(Batch.objects.order_by("pk"))
        self.account = Account(batches)
        self.pots = list(self.account.pots.values())
        self.starts = [batch.planned_start for batch in batches]
        self.devices = [Device(n, client) for n, client in enumerate(clients)]
        self.travel, self.seed = travel, seed
        self.now = self.starts[0]
        self.numbers = count()
        self.empty_again: dict[int, datetime] = {}
        self.fingerprint: tuple[Any, ...] | None = None
        """Of all tables, while nothing has been accepted since."""
        self.dice = random.Random(seed + 1)
        travel.move_to(self.now)

    def run(self, taps: list[Tap]) -> Counter[str]:
        for tap in taps:
            self.move(timedelta(seconds=20))
            getattr(self, f"_{tap[0]}")(self.devices[tap[1]], self.pots[tap[2]], *tap[3:])
            if tap[0] not in ("wait", "reload"):
                self.account.judge_totals()
        for device in self.devices:
            self._online(device, self.pots[0], 0, 0, 0)
            assert not device.queue, "an entry is left on a device"
        self.account.judge_totals()
        return self.account.tally

    def move(self, by: timedelta) -> None:
        self.now += by
        self.travel.move_to(self.now)

    # What a technician does.

    def _weigh(self, device: Device, pot: Pot, which: float, much: float, _c: float) -> None:
        line = lines_of(pot.id)[int(which * len(pot.roles))]
        target = pot.sheet[line.pk][1] - min(device.seen.get(line.pk, ZERO), pot.sheet[line.pk][1])
        kg = _kg(float(target) * FACTORS[int(much * len(FACTORS))])
        self._put_in(device, pot, line.pk, pot.sheet[line.pk][0], kg)

    def _other_can(self, device: Device, pot: Pot, which: float, much: float, can: float) -> None:
        line = lines_of(pot.id)[int(which * len(pot.roles))]
        own = pot.sheet[line.pk][0]
        alike = [
            one
            for one in self.account.can_kg
            if self.material[one] == self.material[own] and one != own
        ]
        chosen = alike[int(can * len(alike))]
        kg = _kg(float(pot.sheet[line.pk][1]) * FACTORS[int(much * len(FACTORS))])
        self._put_in(device, pot, line.pk, chosen, kg, reason="the can ran empty")

    def _put_in(
        self, device: Device, pot: Pot, line: int, can: int, kg: Decimal, reason: str = ""
    ) -> None:
        waiting = (
            Decimal(row["body"]["weighed_kg"])
            for row in device.queue
            if row["what"] == "weighings" and row["body"]["line"] == str(line)
        )
        body = {
            "line": str(line),
            "weighed_kg": str(max(kg, KG_STEP)),
            "already_kg": str(device.seen.get(line, ZERO) + sum(waiting, ZERO)),
            "container_code": self.codes[can],
            "reason": reason,
        }
        self._tell(device, pot, "weighings", body, can=can)

    def _empty(self, device: Device, pot: Pot, which: float, _b: float, _c: float) -> None:
        line = lines_of(pot.id)[int(which * len(pot.roles))]
        self._enter(device, pot, kind="can_empty", line=str(line.pk))

    def _no_more(self, device: Device, pot: Pot, which: float, _b: float, _c: float) -> None:
        line = lines_of(pot.id)[int(which * len(pot.roles))]
        self._enter(device, pot, kind="no_more", line=str(line.pk))

    def _contact(self, device: Device, pot: Pot, passed: float, _b: float, _c: float) -> None:
        self._enter(device, pot, kind="contact", **_passing(passed))

    def _mixed_anew(self, device: Device, pot: Pot, *_: float) -> None:
        self._enter(device, pot, kind="second_container")

    def _pour(self, device: Device, pot: Pot, which: float, much: float, passed: float) -> None:
        if not pot.portions:
            return
        portion = list(pot.portions)[int(which * len(pot.portions))]
        left = max(ZERO, pot.weighed_kg - pot.stays_kg - pot.poured_kg)
        offered = min(pot.portions[portion][2], left)
        body: dict[str, Any] = {"portion": str(portion), **_passing(passed)}
        if much < 0.8:
            factor = FACTORS[int(much / 0.8 * len(FACTORS))]
            body["facts"] = {"kg": str(_kg(float(offered) * factor))}
        self._enter(device, pot, kind="poured", **body)

    def _pour_all(self, device: Device, pot: Pot, passed: float, _b: float, _c: float) -> None:
        self._enter(device, pot, kind="poured", **_passing(passed))

    def _loss(self, device: Device, pot: Pot, which: float, much: float, kind: float) -> None:
        if not pot.portions:
            return
        portion = list(pot.portions)[int(which * len(pot.portions))]
        facts = {"kg": str(_kg(float(pot.portions[portion][2]) * 1.1 * much))}
        name = "leak" if kind < 0.5 else "short"
        self._enter(device, pot, kind=name, portion=str(portion), facts=facts)

    def _trouble(self, device: Device, pot: Pot, kind: float, *_: float) -> None:
        kinds = ("hot_pot", "leak_seen", "spill", "short_seen", "all_clear", "remark")
        self._enter(device, pot, kind=kinds[int(kind * len(kinds))], words="as it looks")

    def _conditions(self, device: Device, pot: Pot, warm: float, *_: float) -> None:
        facts = {"mix_c": f"{18 + 14 * warm:.1f}"}
        self._enter(device, pot, kind="conditions", facts=facts, confirmed=True)

    def _scrap(self, device: Device, pot: Pot, *_: float) -> None:
        self._enter(device, pot, kind="scrapped", words="it set in the pot")

    def _amend(self, device: Device, pot: Pot, which: float, much: float, _c: float) -> None:
        keys = list(pot.weighed)
        if not keys or not device.online:
            return
        key = keys[int(which * len(keys))]
        kg = _kg(float(pot.weighed[key][2]) * (0.5 + much))
        body = {
            "weighing": self.weighing_ids[key],
            "to_kg": str(max(kg, KG_STEP)),
            "reason": "the scale was read again",
        }
        self._tell(device, pot, "amendments", body, weighing=key)

    # What happens round them.

    def _offline(self, device: Device, *_: Any) -> None:
        device.online = False

    def _online(self, device: Device, _pot: Pot, *_: float) -> None:
        device.online = True
        while device.queue:
            row = device.queue[0]
            self.move(timedelta(seconds=1))
            answer = self._send(device, row)
            if not 200 <= answer.status_code < 300:
                self._read_refusal(device, row, answer)
            device.queue.pop(0)
        self._reload(device)

    def _reload(self, device: Device, *_: Any) -> None:
        if device.online:
            device.seen = {line: p.row_kg(line) for p in self.pots for line in p.roles}

    def _bar(self, _device: Device, pot: Pot, which: float, how: float, _c: float) -> None:
        lots = sorted({self.account.lot_of[can] for can, _ in pot.sheet.values()})
        lot = lots[int(which * len(lots))]
        bar_lot(lot, "held" if how < 0.6 else "expired", self.now)
        self.account.barred.add(lot)

    def _clear(self, *_: Any) -> None:
        for lot in self.account.barred:
            Lot.objects.filter(pk=lot).update(
                status="released", status_reason="", expires_on=self.expiry[lot]
            )
        self.account.barred.clear()

    def _wait(self, _device: Device, _pot: Pot, long: float, *_: float) -> None:
        self.move(timedelta(minutes=4 * long if long < 0.9 else 60 * long))

    def _later(self, _device: Device, _pot: Pot, *_: float) -> None:
        self.move(max(timedelta(hours=3), self.starts[-1] - self.now))

    # How it is told.

    def _enter(self, device: Device, pot: Pot, **body: Any) -> None:
        self._tell(device, pot, "entries", body)

    def _tell(self, device: Device, pot: Pot, what: str, body: dict[str, Any], **own: Any) -> None:
        row = {
            "key": f"taps-{self.seed:08d}-{next(self.numbers):04d}",
            "what": what,
            "pot": pot,
            "at": self.now,
            "body": dict(body),
            **own,
        }
        if what != "amendments":
            row["body"]["at"] = self.now.isoformat()
        if not device.online:
            if what == "weighings" or body.get("kind") in ("contact", "poured"):
                row["body"]["already"] = True
            device.queue.append(row)
            return
        answer = self._send(device, row)
        if not 200 <= answer.status_code < 300:
            self._read_refusal(device, row, answer)

    def _read_refusal(self, device: Device, row: dict[str, Any], answer: Any) -> None:
        """Take it back, or tell again that it has happened all the same."""
        told = answer.json()
        code, body = told.get("code", ""), row["body"]
        self.account.tally[f"refused {code}"] += 1
        again = {**row, "key": f"taps-{self.seed:08d}-{next(self.numbers):04d}"}
        if code == "weighed_meanwhile" and self.dice.random() < 0.6:
            again["body"] = {**body, "already_kg": told["limit"], "reason": "beside another"}
        elif code == "not_ready" and self.dice.random() < 0.3:
            again["body"] = {**body, "already": True}
        else:
            return
        self._send(device, again)

    def _send(self, device: Device, row: dict[str, Any]) -> Any:
        """Send an entry, sometimes twice; the account judges the first answer and the second."""
        pot = row["pot"]
        before = self.fingerprint or self.account.fingerprint()
        answer = self._post(device, row)
        if 200 <= answer.status_code < 300:
            self._accepted(device, row, answer)
            self.fingerprint = None
        else:
            assert answer.status_code < 500, answer.content
            self.fingerprint = self.account.fingerprint()
            assert self.fingerprint == before, (
                f"refused, and yet it changed something: {answer.content}"
            )
            self._may_be_refused(row, answer)
        if self.dice.random() < 0.3:
            middle = self.fingerprint or self.account.fingerprint()
            second = self._post(device, row)
            assert second.status_code == answer.status_code, second.content
            self.fingerprint = self.account.fingerprint()
            assert self.fingerprint == middle, f"{row['what']} had its effect twice"
        assert pot.poured_kg <= pot.weighed_kg
        return answer

    def _post(self, device: Device, row: dict[str, Any]) -> Any:
        return device.client.post(
            f"/api/v1/batches/{row['pot'].id}/{row['what']}",
            row["body"],
            content_type="application/json",
            headers={"Idempotency-Key": row["key"]},
        )

    def _is_late(self, row: dict[str, Any]) -> bool:
        return bool(row["body"].get("already")) or self.now - row["at"] > LATE_AFTER

    def _accepted(self, device: Device, row: dict[str, Any], answer: Any) -> None:
        account, pot, body = self.account, row["pot"], row["body"]
        account.keys[row["key"]] += 1
        assert account.keys[row["key"]] == 1
        account.tally[f"{row['what']} {body.get('kind', '')}".strip()] += 1
        late = self._is_late(row)
        if row["what"] == "weighings":
            if not late:
                assert account.lot_of[row["can"]] not in account.barred, "a barred lot is weighed"
            line, kg = int(body["line"]), Decimal(body["weighed_kg"])
            self._take_from(row["can"], kg, row["at"])
            pot.weighed[row["key"]] = [line, row["can"], kg]
            if row["can"] in self.empty_again:
                account.see_empty(row["can"], self.empty_again.pop(row["can"]))
            pot.begun_at = min(row["at"], pot.begun_at or row["at"])
            self.weighing_ids[row["key"]] = answer.json()["weighing"]["id"]
            device.seen[line] = device.seen.get(line, ZERO) + kg
            if pot.state in ("planned", "weighed"):
                pot.state = "weighing"
            return
        if row["what"] == "amendments":
            self._amended(pot, row, Decimal(body["to_kg"]))
            return
        self._entered(pot, row, late)

    def _take_from(self, can: int, kg: Decimal, at: datetime) -> None:
        """A can that something comes out of was not empty, or not yet."""
        if kg <= self.account.book_kg(can) or can not in self.account.written_off:
            return
        _, seen = self.account.written_off.pop(can)
        if at <= seen:
            self.empty_again[can] = seen

    def _amended(self, pot: Pot, row: dict[str, Any], kg: Decimal) -> None:
        pot.weighed[row["weighing"]][2] = kg
        batch = Batch.objects.get(pk=pot.id)
        told = dict(batch.portions.values_list("pk", "poured_kg"))
        pot.poured = {pk: min(kg, told[pk]) for pk, kg in pot.poured.items()}
        if pot.state in ("mixing", "poured") and pot.ratio_is_off():
            assert self._in_quarantine(pot, None), "a wrong ratio, and nothing in quarantine"

    def _entered(self, pot: Pot, row: dict[str, Any], late: bool) -> None:
        kind = row["body"]["kind"]
        pot.state = "weighing" if pot.state == "planned" else pot.state
        batch = Batch.objects.get(pk=pot.id)
        if kind == "contact":
            assert pot.state in ("weighing", "weighed"), f"mixed while {pot.state}"
            stops = self.account.stops(pot, kind, list(pot.portions), self._told_at(row))
            self._judge_gate(pot, row, stops, late, list(pot.portions))
            pot.state, pot.contact_at = "mixing", batch.contact_at
        elif kind == "poured":
            assert pot.state == "mixing", f"poured while {pot.state}"
            asked = row["body"].get("portion")
            went = [int(asked)] if asked else [p for p in pot.portions if p not in pot.poured]
            assert not set(went) & set(pot.poured), "a portion is poured twice"
            stops = self.account.stops(pot, kind, went, self._told_at(row))
            told = dict(batch.portions.values_list("pk", "poured_kg"))
            pot.poured.update({pk: told[pk] for pk in went})
            most = pot.weighed_kg if late else pot.weighed_kg - pot.stays_kg + pot.division_kg
            assert pot.poured_kg <= min(most, pot.weighed_kg), "more poured than the pot gives"
            self._judge_gate(pot, row, stops, late, went)
            if len(pot.poured) == len(pot.portions):
                pot.state = "poured"
        elif kind == "can_empty":
            line = int(row["body"]["line"])
            self.account.see_empty(pot.sheet[line][0], row["at"])
        elif kind == "scrapped":
            assert pot.state != "poured"
            pot.state = "scrapped"
            pot.portions = {pk: row for pk, row in pot.portions.items() if pk in pot.poured}

    def _told_at(self, row: dict[str, Any]) -> datetime:
        at: datetime = row["at"]
        return at

    def _judge_gate(
        self, pot: Pot, row: dict[str, Any], stops: set[str], late: bool, portions: list[int]
    ) -> None:
        if not late:
            assert not stops, f"{row['body']['kind']} let through in spite of {stops}"
            return
        self.account.tally[f"late {row['body']['kind']}"] += 1
        record = GateRecord.objects.filter(entry__key__endswith=row["key"]).first()
        assert record is not None, "what was told late is not marked so"
        assert record.late
        if stops & {"lot", "ratio", "pot life"}:
            assert self._in_quarantine(pot, portions), f"told late with {stops}, not in quarantine"
            self.account.tally["quarantined"] += 1

    def _in_quarantine(self, pot: Pot, portions: list[int] | None) -> bool:
        wanted = {pot.portions[pk][0] for pk in portions or pot.portions}
        held = CastingQuarantine.objects.filter(entry__batch=pot.id).values_list("pour", flat=True)
        return wanted <= set(held)

    def _may_be_refused(self, row: dict[str, Any], answer: Any) -> None:
        """What has happened may be refused only where the account knows why."""
        told, pot, body = answer.json(), row["pot"], row["body"]
        if not self._is_late(row) or row["what"] == "amendments":
            return
        code = (told.get("errors") or [{}])[0].get("code") or told.get("code", "")
        kind = body.get("kind")
        if row["what"] == "weighings":
            line = int(body["line"])
            kg, seen = Decimal(body["weighed_kg"]), Decimal(body["already_kg"])
            off, _ = self.account.written_off.get(row["can"], (ZERO, None))
            empty = kg > self.account.book_kg(row["can"]) + off
            meanwhile = pot.row_kg(line) not in (seen, ZERO)
            assert empty or meanwhile, f"a weighing that was made is refused: {told}"
        elif kind == "contact":
            before = pot.begun_at is None or row["at"] < pot.begun_at
            known = pot.state not in ("weighing", "weighed")
            assert before or known, f"a contact is refused: {told}"
        elif kind == "poured":
            given = Decimal(body.get("facts", {}).get("kg", "0"))
            asked = body.get("portion")
            known = asked is None or int(asked) not in pot.poured
            known &= pot.contact_at is None or row["at"] >= pot.contact_at
            more = given > pot.weighed_kg - pot.poured_kg
            nothing = code in ("nothing_to_pour", "not_positive")
            assert pot.state != "mixing" or not known or more or nothing, f"pour refused: {told}"

    # Set by the test, once for all sequences.
    material: dict[int, int] = {}
    codes: dict[int, str] = {}
    expiry: dict[int, Any] = {}

    @property
    def weighing_ids(self) -> dict[str, str]:
        found: dict[str, str] = self.__dict__.setdefault("_weighing_ids", {})
        return found


def _kg(value: float) -> Decimal:
    return Decimal(repr(value)).quantize(KG_STEP, ROUND_DOWN)


def _passing(fraction: float) -> dict[str, str]:
    """Two of three say at once why they go on and who decides."""
    if fraction < 0.35:
        return {}
    return {"gate_reason": "the mould is full already", "decided_by": "Petra Planner"}
