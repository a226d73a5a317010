"""The plain form of an outlook: what the API, the command and the downloads all say."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from decimal import Decimal
from typing import Any

from shared.errors import Invalid
from shared.export import Column
from shop.outlook.months import Year, month_cells
from shop.outlook.queries import MOST_DAYS, USUAL_DAYS, Row, day_list

SUMMARY = (
    Column("material"),
    Column("name"),
    Column("unit"),
    Column("state"),
    Column("in_date", "number"),
    Column("not_released", "number"),
    Column("receipts", "number"),
    Column("wanted", "number"),
    Column("expires_unused", "number"),
    Column("first_short_on", "day"),
    Column("short", "number"),
    Column("short_pours"),
    Column("last_order_on", "day"),
    Column("usual_supplier"),
)
ALL_DAYS = (
    Column("material"),
    Column("unit"),
    Column("day", "day"),
    Column("in_date", "number"),
    Column("receipts", "number"),
    Column("reserved", "number"),
    Column("planned", "number"),
    Column("expires_unused", "number"),
    Column("projected", "number"),
)
MONTHS = (
    *ALL_DAYS[:2],
    Column("month", "day"),
    *ALL_DAYS[3:],
    Column("lowest", "number"),
)
DAILY = (
    Column("day", "day"),
    Column("in_date", "number"),
    Column("receipts", "number"),
    Column("reserved", "number"),
    Column("planned", "number"),
    Column("expires_unused", "number"),
    Column("short", "number"),
    Column("projected", "number"),
)


def checked_days(text: str | None, usual: int = USUAL_DAYS) -> int:
    """Read how far to look, days; refuse nonsense with the limits."""
    if text is None or text == "":
        return usual
    if not text.isascii() or not text.isdigit() or not 1 <= int(text[:6]) <= MOST_DAYS:
        words = f"days is {text[:20]!r}; give a whole number of days, 1 to {MOST_DAYS}."
        raise Invalid.one("days", "out_of_range", words, value=text[:20], limit=MOST_DAYS)
    return int(text)


def exact(quantity: float | Decimal) -> Decimal:
    """Write a quantity to the ledger's own step."""
    return Decimal(quantity).quantize(Decimal("0.0001"))


def summary_cells(row: Row) -> list[Any]:
    """Return one material's line of the summary."""
    ahead = row.outlook
    return [
        row.material.code,
        row.material.name,
        row.material.unit,
        row.state,
        exact(ahead.opening),
        exact(row.not_released),
        exact(row.due_in),
        exact(row.wanted),
        exact(ahead.lost),
        row.first_short_on,
        exact(row.short),
        "; ".join(f"{s.pour} on {s.day.isoformat()}" for s in ahead.short_pours),
        row.last_order_on,
        row.source.supplier if row.source else "",
    ]


def daily_cells(row: Row) -> Iterator[list[Any]]:
    """Return one line a day."""
    ahead = row.outlook
    columns = zip(
        ahead.in_date,
        ahead.receipts,
        ahead.reserved,
        ahead.planned,
        ahead.expired,
        ahead.short,
        ahead.projected,
        strict=True,
    )
    for day, figures in zip(day_list(ahead), columns, strict=True):
        yield [day, *(exact(q) for q in figures)]


MOST_SHORT, MOST_AT_RISK = 20, 5
"""How many pours and lots the summary names of each material; the days of one name all."""


def plain(row: Row, *, daily: bool) -> dict[str, Any]:
    """
    Return one material's outlook for JSON; quantities are text, in the material's unit.

    Without its days only the first pours that go short and the first lots at risk are named; the
    counts say how many there are.
    """
    ahead = row.outlook
    short = ahead.short_pours if daily else ahead.short_pours[:MOST_SHORT]
    at_risk = ahead.at_risk if daily else ahead.at_risk[:MOST_AT_RISK]
    found: dict[str, Any] = {
        "material": str(row.material.pk),
        "material_code": row.material.code,
        "name": row.material.name,
        "unit": row.material.unit,
        "state": row.state,
        "in_date": str(exact(ahead.opening)),
        "not_released": str(exact(row.not_released)),
        "already_expired": str(exact(ahead.already_expired)),
        "receipts": str(exact(row.due_in)),
        "wanted": str(exact(row.wanted)),
        "expires_unused": str(exact(ahead.lost)),
        "first_short_on": _day(row.first_short_on),
        "last_order_on": _day(row.last_order_on),
        "usual_supplier": row.source.supplier if row.source else None,
        "lead_days": row.source.lead_days if row.source else None,
        "short_pours_count": len(ahead.short_pours),
        "short_pours": [
            {
                "pour": s.pour,
                "day": s.day.isoformat(),
                "short": str(exact(s.quantity)),
                "never_met": str(exact(s.never_met)),
                "made_good_on": _day(s.made_good_on),
            }
            for s in short
        ],
        "at_risk_count": len(ahead.at_risk),
        "at_risk": [
            {
                "lot": risk.code,
                "usable_until": risk.usable_until.isoformat(),
                "quantity": str(exact(risk.quantity)),
                "could_use": [
                    {
                        "pour": r.pour,
                        "planned_on": r.planned_on.isoformat(),
                        "quantity": str(exact(r.quantity)),
                        "share_pot_with": r.share_with,
                    }
                    for r in risk.rescues
                ],
            }
            for risk in at_risk
        ],
    }
    if daily:
        names = [column.name for column in DAILY[1:]]
        found["days"] = [
            {"day": day.isoformat(), **dict(zip(names, map(str, figures), strict=True))}
            for day, *figures in daily_cells(row)
        ]
    return found


def plain_year(year: Year) -> dict[str, Any]:
    """Return one material's months for JSON."""
    names = [column.name for column in MONTHS[3:]]
    return {
        "material": str(year.material.pk),
        "material_code": year.material.code,
        "unit": year.material.unit,
        "months": [
            {"month": first.isoformat()[:7], **dict(zip(names, map(str, figures), strict=True))}
            for _, _, first, *figures in month_cells(year)
        ],
    }


def _day(day: Any) -> str | None:
    return day.isoformat() if day else None


def is_among(row: Row, state: str) -> bool:
    """Tell whether a material is one of those a count speaks of; one may run short and expire."""
    return bool(row.outlook.at_risk) if state == "expiring" else row.state == state


def counts(rows: Sequence[Row]) -> dict[str, int]:
    """Count materials that run short, that expire unused (short or not), and that do neither."""
    return {state: sum(is_among(r, state) for r in rows) for state in ("short", "expiring", "ok")}
