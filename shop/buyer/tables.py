"""The buyer's figures as rows: what pages show, files hold and the API answers."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from shared import clock
from shared.access.models import Site
from shared.export import Column
from shop.buyer import queries
from shop.core.supplying import Share
from shop.costs.months import MOST_MONTHS
from shop.materials.models import Material
from shop.page_forms import whole
from shop.tools.coat_forecast import FORECAST_DAYS, forecast

Rows = list[list[Any]]
USUAL_MONTHS, MONTH_DAYS = 12, 30.4375


@dataclass(frozen=True)
class Table:
    """One table of the buyer's, under a name that page, file and API share."""

    slug: str
    title: str
    about: str
    columns: Sequence[Column]
    rows: Callable[[Site, int, date], Rows]
    heads: Sequence[str]
    """The columns as people read them."""


def months_asked(given: str | None) -> int:
    """Return how many months back are asked for; a year where nothing is."""
    return whole({"months": given}, "months", MOST_MONTHS) if given else USUAL_MONTHS


def days_of(months: int) -> int:
    """Return the days that a table by day shows for so many months."""
    return min(queries.MOST_DAYS, round(months * MONTH_DAYS) + 1)


def _start(months: int, today: date) -> date:
    return today - timedelta(days=round(months * MONTH_DAYS))


def _percent(share: Share) -> Decimal | None:
    return None if share.percent is None else Decimal(str(round(share.percent, 1)))


def _suppliers(site: Site, months: int, today: date) -> Rows:
    found = []
    for one in queries.suppliers(site, _start(months, today), today):
        done = one.done
        late = done.mean_late_days
        found.append([
            one.supplier.code, one.supplier.name, done.lines, _percent(done.on_time),
            _percent(done.on_day_asked), _percent(done.in_full),
            None if late is None else Decimal(str(round(late, 1))), done.sound.of,
            _percent(done.sound), done.fresh.of, _percent(done.fresh),
        ])  # fmt: skip
    return found


def _slow(site: Site, months: int, today: date) -> Rows:
    return [
        [
            one.material.code, one.material.name, one.held, one.material.unit, one.last_used,
            one.used, one.cover_days, _money(one.worth), "yes" if one.unpriced else "no",
        ]
        for one in queries.slow_movers(site, today)
    ]  # fmt: skip


def _worth(site: Site, months: int, today: date) -> Rows:
    rows = queries.stock_worth(site, days_of(months), today)
    return [[one.day, _money(one.worth), one.unpriced] for one in reversed(rows)]


def _mixes(site: Site, months: int, today: date) -> Rows:
    return [
        [
            " + ".join(m.code for m in one.resins), " + ".join(m.code for m in one.hardeners),
            _kg(one.there.resin_kg), _kg(one.there.hardener_kg), _kg(one.there.off_kg),
            one.there.verdict, _kg(one.bought.resin_kg), _kg(one.bought.hardener_kg),
            one.bought.verdict,
        ]
        for one in queries.mix_groups(site, _start(months, today), today)
    ]  # fmt: skip


def _receipts(site: Site, months: int, today: date) -> Rows:
    rows = queries.receipts(site).filter(
        movement__happened_at__gte=clock.day_start(_start(months, today), site)
    )
    found = []
    for one in rows:
        lot, moved = one.movement.container.lot, one.movement
        fresh = {True: "yes", False: "no", None: ""}[one.fresh]
        found.append([
            clock.local(moved.happened_at, site).date(), lot.material.code, lot.code,
            lot.supplier.name if lot.supplier else "", moved.quantity, lot.material.unit,
            one.unit_cost, one.currency, one.life_left_days, one.least_life_days, fresh,
        ])  # fmt: skip
    return found


def _recoats(site: Site, months: int, today: date) -> Rows:
    found = forecast(site, today)
    rows: dict[tuple[str, int], list[Any]] = {}
    agents = Material.objects.in_bulk({need.material_id for need in found.needs})
    for need in found.needs:
        agent = agents[need.material_id]
        row = rows.setdefault(
            (need.tool.code, agent.pk),
            [need.tool.code, need.tool.name, agent.code, 0, need.day, 0.0, agent.unit],
        )
        row[3] += 1
        row[5] += need.quantity
    for row in rows.values():
        row[5] = _kg(row[5])
    unknown = [
        [one.code, one.name, one.release_recipe.material.code, None, None, None, "not known"]
        for one in found.unknown
        if one.release_recipe is not None
    ]
    return [*rows.values(), *unknown]


def _money(worth: dict[str, Decimal]) -> str:
    return " + ".join(f"{total:.2f} {currency}" for currency, total in sorted(worth.items()))


def _kg(value: float) -> Decimal:
    return Decimal(str(round(value, 3)))


def _columns(*names: str) -> list[Column]:
    """Return columns; `#` before a name marks a number, `@` a day."""
    kinds: dict[str, Any] = {"#": "number", "@": "day"}
    return [
        Column(name.lstrip("#@"), kinds[name[0]]) if name[0] in kinds else Column(name)
        for name in names
    ]


TABLES = (
    Table(
        "suppliers", "How suppliers deliver",
        "From order lines promised in the time shown. On time: all of it by the day promised. "
        "Sound: lots not held, recalled or sent back. Fresh: as much shelf life left as ordered.",
        _columns(
            "supplier", "name", "#lines", "#on_time_percent", "#on_day_asked_percent",
            "#in_full_percent", "#mean_late_days", "#lots", "#sound_percent",
            "#lots_with_life_asked", "#fresh_percent",
        ),
        _suppliers,
        ("Supplier", "Name", "Lines due", "On time, %", "On the day asked, %", "In full, %",
         "Late on average, days", "Lots", "Sound, %", "Lots with life asked", "Fresh, %"),
    ),
    Table(
        "receipts", "Prices and shelf life at receipt",
        "What each receipt cost and how many days of shelf life it had left on the day it came, "
        "against what was ordered. Receipts from before this was kept are left out.",
        _columns(
            "@received_on", "material", "lot", "supplier", "#quantity", "unit", "#unit_cost",
            "currency", "#life_left_days", "#life_ordered_days", "fresh",
        ),
        _receipts,
        ("Received", "Material", "Lot", "Supplier", "Quantity", "Unit", "Price a unit",
         "Currency", "Life left, days", "Life ordered, days", "As fresh as ordered"),
    ),
    Table(
        "slow-movers", "Slow movers",
        f"In stock, and nothing used for {queries.SLOW_DAYS} days, or enough for more than "
        f"{queries.COVER_DAYS} days at the pace of the last {queries.PACE_DAYS}.",
        _columns(
            "material", "name", "#held", "unit", "@last_used", "#used_lately", "#cover_days",
            "worth", "lots_without_price",
        ),
        _slow,
        ("Material", "Name", "Held", "Unit", "Last used", f"Used in {queries.PACE_DAYS} days",
         "Lasts, days", "Worth", "Lots without a price"),
    ),
    Table(
        "stock-worth", "Worth of stock by day",
        "At the end of each day, from the ledger by the day things happened, at what each lot "
        "cost on average. Currencies are not added together; one year at most.",
        _columns("@day", "worth", "#lots_without_price"),
        _worth,
        ("Day", "Worth", "Lots without a price"),
    ),
    Table(
        "mixes", "Resin and hardener in proportion",
        "What may be used, is being checked, or is coming, and what was bought in the time shown, "
        "kg. Where one resin goes with several hardeners, any of their ratios will do. More than "
        "10 % off is said.",
        _columns(
            "resins", "hardeners", "#resin_kg", "#hardener_kg", "#hardener_off_kg", "verdict",
            "#resin_bought_kg", "#hardener_bought_kg", "verdict_bought",
        ),
        _mixes,
        ("Resin", "Hardener", "Resin there, kg", "Hardener there, kg", "Hardener over, kg",
         "There", "Resin bought, kg", "Hardener bought, kg", "Bought"),
    ),
    Table(
        "re-coats", "Release agent for re-coats",
        f"What tools in use will take in {FORECAST_DAYS} days at their present pace, by what "
        "earlier coats took, else by the area of the face. It counts in Stock ahead and in the "
        "proposals. Not known: enter the area on the tool's page, or coat with a can named.",
        _columns(
            "tool", "name", "agent", "#coatings", "@first_on", "#quantity", "unit",
        ),
        _recoats,
        ("Tool", "Name", "Agent", "Coatings", "First on", "Quantity", "Unit"),
    ),
)  # fmt: skip
BY_SLUG = {table.slug: table for table in TABLES}
