"""How taps are told to the product, and what the account makes of each answer."""

from __future__ import annotations

import random
from abc import ABC, abstractmethod
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

from planning.batches.models import Batch, BatchEntry
from planning.weigh_in.models import CastingQuarantine, GateRecord
from shop.models import Movement
from tests.planning.weigh_in.taps_account import LATE_AFTER, ZERO, Account, Pot

DEGREES = ("air_c", "mix_c", "pot_c")


@dataclass
class Device:
    """One technician's phone: what it has seen, and what waits to be sent."""

    number: int
    client: Any
    user: int
    online: bool = True
    queue: list[dict[str, Any]] = field(default_factory=list)
    seen: dict[int, Decimal] = field(default_factory=dict)

    def copy(self) -> Device:
        return replace(self, queue=list(self.queue), seen=dict(self.seen))


class Telling(ABC):
    """Sends what is tapped, sometimes twice or late, and judges what comes back."""

    account: Account
    pots: list[Pot]
    now: datetime

    def begin(self) -> None:
        self.number = 0
        self.dice = random.Random(0)
        self.empty_again: dict[int, datetime] = {}
        self.weighing_ids: dict[str, str] = {}
        self.fingerprint: tuple[Any, ...] | None = None
        """Of all tables, while nothing has been accepted since."""
        self.changed = True

    def new_key(self) -> str:
        self.number += 1
        return f"taps-{self.number:011d}"

    @abstractmethod
    def move(self, by: timedelta) -> None:
        """Let time pass."""

    def judge_what_changed(self) -> None:
        """Compare all tables with the account, unless both are as they were when compared last."""
        if self.changed:
            self.account.judge_totals()
        self.changed = False

    def look(self, device: Device, pot: Pot) -> None:
        """Load the page of a pot, and judge what it says."""
        answer = device.client.get(f"/batches/{pot.id}/state.json")
        assert answer.status_code == 200, answer.content
        state = answer.json()
        self.account.tally["looked"] += 1
        for line in state["lines"]:
            assert Decimal(line["weighed_kg"]) == pot.row_kg(line["id"]), "the page shows another"
            device.seen[line["id"]] = Decimal(line["weighed_kg"])
            if self.account.lot_of[line["container_id"]] in self.account.barred:
                until = line["usable_until"]
                over = until is not None and datetime.fromisoformat(until) <= self.now
                assert line["lot_status"] == "held" or over, "the page hides a barred lot"
                self.account.tally["barred lot seen"] += 1
        gate = state["gate"]
        shown = list(gate["contact"] if pot.state in ("weighing", "weighed") else ())
        for one in gate["portions"] if pot.state == "mixing" else ():
            shown = one["hindrances"]
            stops = self.account.stops(pot, "poured", [int(one["portion"])], self.now)
            assert not stops or any(not row["reason_passes"] for row in shown), f"hides {stops}"
        if self.account.lot_is_barred(pot) and pot.state in ("weighing", "weighed", "mixing"):
            codes = {row["code"] for row in shown}
            assert codes & {"lot_not_released", "lot_expired"}, "the page would let it be used"
        offered = sum((Decimal(one["offered_kg"]) for one in gate["portions"]), ZERO)
        left = max(ZERO, pot.weighed_kg - pot.stays_kg - pot.poured_kg)
        assert offered <= left + Decimal("0.0000001"), "more offered than the pot holds"
        if pot.state == "mixing":
            told = datetime.fromisoformat(state["latest_pour_at"])
            apart = abs(told - pot.pour_by())
            assert apart < timedelta(milliseconds=1), f"pour by {told}, not {pot.pour_by()}"

    def undo(self, device: Device, pot: Pot, key: str) -> None:
        """Take back a weighing's movement in the ledger; that must be refused."""
        row = Movement.objects.get(key__startswith="weighing:", key__endswith=f":{key}")
        before = self.fingerprint or self.account.fingerprint()
        answer = device.client.post(
            "/api/v1/movements",
            {"reverses": str(row.pk), "reason": "booked twice"},
            content_type="application/json",
            headers={"Idempotency-Key": self.new_key()},
        )
        assert answer.status_code == 409, f"undone behind its batch: {answer.content!r}"
        self.account.tally["undo refused"] += 1
        self.fingerprint = self.account.fingerprint()
        assert self.fingerprint == before, "refused, and yet it changed something"

    def _enter(self, device: Device, pot: Pot, **body: Any) -> None:
        self._tell(device, pot, "entries", body)

    def _tell(self, device: Device, pot: Pot, what: str, body: dict[str, Any], **own: Any) -> None:
        row = {
            "key": self.new_key(),
            "what": what,
            "pot": pot.id,
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
        again = {**row, "key": self.new_key()}
        if code == "weighed_meanwhile" and self.dice.random() < 0.6:
            again["body"] = {**body, "already_kg": told["limit"], "reason": "beside another"}
        elif code == "not_ready" and self.dice.random() < 0.3:
            again["body"] = {**body, "already": True}
        else:
            return
        self._send(device, again)

    def _send(self, device: Device, row: dict[str, Any]) -> Any:
        """Send an entry, sometimes twice; the account judges the first answer and the second."""
        pot = self.account.pots[row["pot"]]
        before = self.fingerprint or self.account.fingerprint()
        answer = self._post(device, row)
        if 200 <= answer.status_code < 300:
            self.changed = True
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
            f"/api/v1/batches/{row['pot']}/{row['what']}",
            row["body"],
            content_type="application/json",
            headers={"Idempotency-Key": row["key"]},
        )

    def _is_late(self, row: dict[str, Any]) -> bool:
        return bool(row["body"].get("already")) or self.now - row["at"] > LATE_AFTER

    def _accepted(self, device: Device, row: dict[str, Any], answer: Any) -> None:
        account, pot, body = self.account, self.account.pots[row["pot"]], row["body"]
        account.keys[row["key"]] += 1
        assert account.keys[row["key"]] == 1
        account.tally[f"{row['what']} {body.get('kind', '')}".strip()] += 1
        late = self._is_late(row)
        if row["what"] == "weighings":
            if not late:
                assert account.lot_of[row["can"]] not in account.barred, "a barred lot is weighed"
            self._judge_stirring(pot, row, late)
            line, kg = int(body["line"]), Decimal(body["weighed_kg"])
            self._take_from(row["can"], kg, row["at"])
            pot.weighed[row["key"]] = [line, row["can"], kg, device.user]
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

    def _judge_stirring(self, pot: Pot, row: dict[str, Any], late: bool) -> None:
        """A settled can is stirred first, or it is told that it was not."""
        entry = BatchEntry.objects.filter(
            batch=pot.id, kind="unstirred", key__endswith=f"{row['key']}:unstirred"
        ).first()
        if not self.account.unstirred(row["can"], row["at"]):
            assert entry is None, "marked as not stirred although it is"
            return
        reason = row["body"].get("gate_reason")
        assert late or reason, "weighed from a settled can"
        assert entry is not None, "not marked as not stirred"
        record = GateRecord.objects.get(entry=entry)
        assert record.late == late
        assert record.reason == (reason or "")
        self.account.tally["unstirred"] += 1
        if not reason:
            assert self._in_quarantine(pot, None), "not stirred, and not in quarantine"

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
        facts = row["body"].get("facts", {})
        degrees = [float(facts[name]) for name in DEGREES if name in facts]
        if degrees:
            pot.readings.append((row["at"], max(degrees)))
        if kind == "contact" and pot.state == "scrapped":
            self._contact_of_scrapped(pot, row, late)
            pot.contact_at = batch.contact_at
        elif kind == "contact":
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
            self._judge_mixing(pot, row, late, went)
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
        elif kind == "stirred":
            self.account.stirred.setdefault(row["can"], []).append(row["at"])
        elif kind == "second_container":
            pot.second_at.append(row["at"])
        elif kind == "mixed":
            pot.mixed_at.append(row["at"])
        elif kind == "scrapped":
            assert pot.state != "poured"
            pot.state = "scrapped"
            pot.scrapped_at = min(row["at"], pot.scrapped_at or row["at"])
            pot.was_for |= {pour for pour, *_ in pot.portions.values()}
            pot.portions = {pk: row for pk, row in pot.portions.items() if pk in pot.poured}

    def _judge_mixing(
        self, pot: Pot, row: dict[str, Any], late: bool, portions: list[int]
    ) -> None:
        if not pot.mixed_too_short(row["at"]):
            return
        reason = row["body"].get("gate_reason")
        assert late or reason, "mixed less than asked, and poured"
        record = GateRecord.objects.get(entry__key__endswith=row["key"])
        assert "mixed_too_short" in {one["code"] for one in record.hindrances}
        assert reason or self._in_quarantine(pot, portions), "mixed too short, not in quarantine"
        self.account.tally["mixed too short"] += 1

    def _contact_of_scrapped(self, pot: Pot, row: dict[str, Any], late: bool) -> None:
        assert late, "a scrapped pot is mixed"
        assert pot.contact_at is None
        assert pot.scrapped_at is not None
        assert row["at"] < pot.scrapped_at, "mixed after it was scrapped"
        record = GateRecord.objects.get(entry__key__endswith=row["key"])
        assert record.late
        held = CastingQuarantine.objects.filter(entry__batch=pot.id).values_list("pour", flat=True)
        assert pot.was_for <= set(held), "mixed, scrapped, and not in quarantine"
        self.account.tally["contact of a scrapped pot"] += 1

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
        told, pot, body = answer.json(), self.account.pots[row["pot"]], row["body"]
        if row["what"] == "weighings" and told.get("code") == "not_ready":
            assert self.account.unstirred(row["can"], row["at"]), f"refused for nothing: {told}"
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
            known = pot.contact_at is not None or pot.state == "planned"
            known |= pot.scrapped_at is not None and row["at"] >= pot.scrapped_at
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
