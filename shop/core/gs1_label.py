"""What a GS1 label means to a goods receipt: item, lot, dates, quantities and doubts."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from shop.core.gs1 import Element, Gs1Error, Measure, measure, parse, read_date

_LOST_SEPARATOR = re.compile(r".(?:1[157]\d{6}|310[0-5]\d{6}|21\d{4,})$", re.ASCII)
_EXCLUDED = (("01", "02"), ("01", "37"))
_NEEDS: dict[str, tuple[str, tuple[frozenset[str], ...]]] = {
    "37": ("00+02", (frozenset({"00", "02"}),)),
    "02": ("37", (frozenset({"37"}),)),
    "21": ("01", (frozenset({"01"}),)),
} | {
    ai: ("01 or 02", (frozenset({"01"}), frozenset({"02"})))
    for ai in ("10", "11", "15", "17", "30", "240", "310", "315")
}


@dataclass(frozen=True)
class Label:
    """What a goods receipt reads from a scan; None where the label is silent."""

    elements: tuple[Element, ...]
    gtin: str | None = None
    lot: str | None = None
    serial: str | None = None
    supplier_item: str | None = None
    made_on: date | None = None
    usable_until: date | None = None
    binding: str | None = None
    """Which date set `usable_until`: ``expiry (17)`` or ``best before (15)``."""
    net_kg: Decimal | None = None
    net_l: Decimal | None = None
    count: int | None = None
    warnings: tuple[str, ...] = ()


def pairing_faults(ais: Iterable[str]) -> tuple[str, ...]:
    """
    Name the AIs that may not stand together or lack their partner.

    Parameters
    ----------
    ais : iterable of str
        AIs of one label. Only those a goods receipt uses are judged; rarer partners that would
        also do (03, 8006, 8026) are left out.
    """
    printed = list(ais)
    present = {ai[:3] if ai[:3] in ("310", "315") else ai for ai in printed}
    faults = [f"{a}+{b} not allowed together" for a, b in _EXCLUDED if {a, b} <= present]
    for ai in printed:
        need = _NEEDS.get(ai[:3] if ai[:3] in ("310", "315") else ai)
        if need and not any(partners <= present for partners in need[1]):
            faults.append(f"{ai} needs {need[0]}")
    return tuple(faults)


def read_label(scan: str, today: date) -> Label:
    """
    Read a scan as goods on the dock.

    Parameters
    ----------
    scan : str
        As for `parse`.
    today : datetime.date
        Day of the scan.

    Returns
    -------
    Label
        Of best before (15) and expiry (17) the earlier binds. A production date (11) printed
        with day 00 counts from the first of the month, the stricter reading (chosen here).
        Doubts a person should settle are in `warnings`.

    Raises
    ------
    Gs1Error
        As for `parse`; ``zero`` for a net quantity or count of nothing; ``dates_crossed`` if it
        would be out of date before it was made.
    """
    elements = parse(scan, today)
    values = {e.ai: e.value for e in elements}
    made_on = _made_on(values, today)
    until, binding = _until(values, today)
    if made_on and until and until < made_on:
        raise Gs1Error(
            "dates_crossed", f"made on {made_on} but usable only until {until}; check the label."
        )
    quantities = {m.unit: m.quantity for m in _measures(elements)}
    return Label(
        elements,
        gtin=values.get("01") or values.get("02"),
        lot=values.get("10"),
        serial=values.get("21"),
        supplier_item=values.get("240"),
        made_on=made_on,
        usable_until=until,
        binding=binding,
        net_kg=quantities.get("kg"),
        net_l=quantities.get("L"),
        count=_count(values),
        warnings=_warnings(values),
    )


def _made_on(values: dict[str, str], today: date) -> date | None:
    if "11" not in values:
        return None
    made = read_date(values["11"], today)
    return made.day if made.day_given else made.day.replace(day=1)


def _until(values: dict[str, str], today: date) -> tuple[date | None, str | None]:
    names = {"17": "expiry (17)", "15": "best before (15)"}
    dated = [(read_date(values[ai], today).day, names[ai]) for ai in names if ai in values]
    return min(dated, key=lambda x: x[0]) if dated else (None, None)


def _measures(elements: Iterable[Element]) -> list[Measure]:
    found = [(e.ai, measure(e.ai, e.value)) for e in elements if e.ai[:3] in ("310", "315")]
    for ai, net in found:
        if not net.quantity:
            raise Gs1Error("zero", f"AI ({ai}) says 0 {net.unit}; enter what was received.", ai)
    return [net for _, net in found]


def _count(values: dict[str, str]) -> int | None:
    ai = next((ai for ai in ("30", "37") if ai in values), None)
    if ai is None:
        return None
    if not int(values[ai]):
        raise Gs1Error("zero", f"AI ({ai}) counts 0 items; enter what was received.", ai)
    return int(values[ai])


def _warnings(values: dict[str, str]) -> tuple[str, ...]:
    warnings = [
        f"the label breaks a rule of GS1, {fault}; compare what was read by eye"
        for fault in pairing_faults(values)
    ]
    lot = values.get("10", "")
    if _LOST_SEPARATOR.search(lot):
        warnings.append(
            f"lot {lot} looks as if another field had run into it; compare it with the printed "
            "label and check that the scanner sends FNC1"
        )
    return tuple(warnings)
