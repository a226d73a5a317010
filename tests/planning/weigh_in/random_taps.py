"""
Random taps of two technicians at two pots, by the calls that the batch page makes.

A failure is shown with the shortest list of taps found. Run many with
`python -m tests.planning.weigh_in.many_taps FIRST COUNT`.
"""

from __future__ import annotations

import random
from collections import Counter
from copy import copy
from datetime import timedelta
from decimal import ROUND_DOWN, Decimal
from typing import Any

from planning.batches.models import Batch
from shop.lots.models import Lot
from tests.planning.weigh_in.taps_account import ZERO, Account, Pot, bar_lot
from tests.planning.weigh_in.taps_drawn import Tap
from tests.planning.weigh_in.taps_judged import Device, Telling

KG_STEP = Decimal("0.0001")
FACTORS = (1.0, 1.0, 1.0, 1.0, 0.999, 0.6, 0.3, 1.004, 1.05, 1.6)


class Shift(Telling):
    """A run of one sequence against the shop; raises where the account finds a fault."""

    def __init__(self, clients: list[Any], travel: Any, tally: Counter[str]) -> None:
        batches = list(Batch.objects.order_by("pk"))
        self.account = Account(batches, tally)
        self.pots = list(self.account.pots.values())
        self.starts = [batch.planned_start for batch in batches]
        self.devices = [
            Device(n, client, int(client.session["_auth_user_id"]))
            for n, client in enumerate(clients)
        ]
        self.travel = travel
        self.now = self.starts[0]
        self.begin()
        self.at_it: dict[int, int] = {}
        """By pot: the device of whom it was handed to."""
        travel.move_to(self.now)

    def copy(self) -> Shift:
        """Return the shift as it stands, to be gone on with in another way."""
        other = copy(self)
        other.account = self.account.copy()
        other.pots = list(other.account.pots.values())
        other.devices = [one.copy() for one in self.devices]
        other.at_it = dict(self.at_it)
        other.empty_again, other.weighing_ids = dict(self.empty_again), dict(self.weighing_ids)
        self.travel.move_to(self.now)
        return other

    def run(self, taps: list[Tap]) -> None:
        for tap in taps:
            # What is left to chance hangs on the tap alone: any others may be left out.
            self.dice = random.Random(repr(tap))
            self.account.tally["taps"] += 1
            self.move(timedelta(seconds=20))
            pot = self.pots[tap[2]]
            device = self.devices[self.at_it.get(pot.id, tap[1])]
            getattr(self, f"_{tap[0]}")(device, pot, *tap[3:])
            self.judge_what_changed()

    def end(self) -> None:
        """Let both devices tell what they still hold, and compare once more."""
        self.dice = random.Random(0)
        for device in self.devices:
            self._online(device, self.pots[0], 0, 0, 0)
            assert not device.queue, "an entry is left on a device"
        self.judge_what_changed()
        self.account.tally["sequences"] += 1

    def move(self, by: timedelta) -> None:
        self.now += by
        self.travel.move_to(self.now)

    # What a technician does.

    def _stir(self, device: Device, pot: Pot, which: float, other: float, _c: float) -> None:
        line = pot.lines[int(which * len(pot.lines))]
        own = pot.sheet[line][0]
        can = own if other < 0.7 else self._alike(own)[0]
        more = {"line": str(line), "container_code": self.codes[can]}
        self._tell(device, pot, "entries", {"kind": "stirred", **more}, can=can)

    def _weigh(self, device: Device, pot: Pot, which: float, much: float, why: float) -> None:
        line = pot.lines[int(which * len(pot.lines))]
        target = pot.sheet[line][1] - min(device.seen.get(line, ZERO), pot.sheet[line][1])
        kg = _kg(float(target) * FACTORS[int(much * len(FACTORS))])
        passing = _passing(why) if why > 0.7 else {}
        self._put_in(device, pot, line, pot.sheet[line][0], kg, **passing)

    def _other_can(self, device: Device, pot: Pot, which: float, much: float, can: float) -> None:
        line = pot.lines[int(which * len(pot.lines))]
        alike = self._alike(pot.sheet[line][0])
        chosen = alike[int(can * len(alike))]
        kg = _kg(float(pot.sheet[line][1]) * FACTORS[int(much * len(FACTORS))])
        passing = _passing(can) if can > 0.6 else {}
        self._put_in(device, pot, line, chosen, kg, reason="the can ran empty", **passing)

    def _alike(self, own: int) -> list[int]:
        kind = self.material[own]
        return [one for one in self.account.can_kg if self.material[one] == kind and one != own]

    def _put_in(
        self, device: Device, pot: Pot, line: int, can: int, kg: Decimal, **more: str
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
            **more,
        }
        self._tell(device, pot, "weighings", body, can=can)

    def _empty(self, device: Device, pot: Pot, which: float, _b: float, _c: float) -> None:
        line = pot.lines[int(which * len(pot.lines))]
        self._enter(device, pot, kind="can_empty", line=str(line))

    def _no_more(self, device: Device, pot: Pot, which: float, _b: float, _c: float) -> None:
        line = pot.lines[int(which * len(pot.lines))]
        self._enter(device, pot, kind="no_more", line=str(line))

    def _contact(self, device: Device, pot: Pot, passed: float, _b: float, _c: float) -> None:
        self._enter(device, pot, kind="contact", **_passing(passed))

    def _mixed(self, device: Device, pot: Pot, *_: float) -> None:
        self._enter(device, pot, kind="mixed")

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

    def _conditions(self, device: Device, pot: Pot, warm: float, what: float, _c: float) -> None:
        name = ("mix_c", "air_c", "pot_c")[int(what * 3)]
        hottest = {"mix_c": 14, "air_c": 17, "pot_c": 60}[name]
        facts = {name: f"{18 + hottest * warm:.1f}"}
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

    def _undo(self, device: Device, pot: Pot, which: float, *_: float) -> None:
        """On the page of the lot, behind the back of the batch."""
        keys = list(pot.weighed)
        if keys and device.online:
            self.undo(device, pot, keys[int(which * len(keys))])

    def _hand_over(self, device: Device, pot: Pot, *_: float) -> None:
        """The other one goes on with the pot, from what the page tells."""
        other = self.devices[1 - device.number]
        self.at_it[pot.id] = other.number
        self._reload(other, pot)

    # What happens round them.

    def _offline(self, device: Device, *_: Any) -> None:
        device.online = False

    def _online(self, device: Device, pot: Pot, *_: float) -> None:
        device.online = True
        told = bool(device.queue)
        while device.queue:
            row = device.queue[0]
            self.move(timedelta(seconds=1))
            answer = self._send(device, row)
            if not 200 <= answer.status_code < 300:
                self._read_refusal(device, row, answer)
            device.queue.pop(0)
        if told:
            self._reload(device, pot)

    def _reload(self, device: Device, pot: Pot, *_: Any) -> None:
        if device.online:
            self.look(device, pot)

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

    def _mix(self, _device: Device, _pot: Pot, long: float, *_: float) -> None:
        self.move(timedelta(minutes=5 * long))

    def _wait(self, _device: Device, _pot: Pot, long: float, *_: float) -> None:
        self.move(timedelta(minutes=4 * long if long < 0.9 else 60 * long))

    def _later(self, _device: Device, _pot: Pot, *_: float) -> None:
        self.move(max(timedelta(hours=3), self.starts[-1] - self.now))


def _kg(value: float) -> Decimal:
    return Decimal(repr(value)).quantize(KG_STEP, ROUND_DOWN)


def _passing(fraction: float) -> dict[str, str]:
    """Two of three say at once why they go on and who decides."""
    if fraction < 0.35:
        return {}
    return {"gate_reason": "the mould is full already", "decided_by": "Petra Planner"}
