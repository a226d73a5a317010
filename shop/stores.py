"""The hatch: the only door of the shop for planning. Plain values in, frozen dataclasses out."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from decimal import Decimal

from shared import clock
from shared.access.models import Site
from shared.codes.finding import find as find_code
from shared.retry import retried
from shop.catalogue.touching import register_touched
from shop.costs.queries import costs_of
from shop.errors import NotFound
from shop.ledger.actions import issue, reverse
from shop.ledger.consuming import issue_from_material
from shop.ledger.emptied import count_empty, not_empty_after_all
from shop.ledger.in_time import received_at
from shop.ledger.models import Reservation
from shop.ledger.owned import register_owner
from shop.ledger.purposes import register_open_purposes
from shop.ledger.requirements import replace_requirements
from shop.ledger.reservations import free_reservations, reserve
from shop.lots import queries as lots
from shop.lots.models import Lot
from shop.lots.soon import soon_unusable
from shop.materials import queries as materials
from shop.materials.queries import hazard_lines, materials_by_id, systems
from shop.purchasing import queries as purchasing
from shop.release_agents import queries as release_agents
from shop.release_agents.models import ReleaseRecipe
from shop.sites import queries as sites
from shop.sites.actions import KINDS as SHOP_CHANGES
from shop.sites.actions import Reported, ShopChange
from shop.sites.actions import report as report_change
from shop.sites.actions import rows_of as rows_of_change
from shop.sites.actions import take_back as take_back_change
from shop.sites.queries import coming_changes, people_at, site_week
from shop.stores_types import (
    ContainerInfo,
    ExpectedReceipt,
    MaterialInfo,
    NeedRow,
    PersonInfo,
    RecipeInfo,
    ReplacementNeed,
    SystemInfo,
    ToolInfo,
    ToolWork,
)
from shop.sums import exact_sum
from shop.tools import queries as tools
from shop.tools.actions import (
    make_replacement,
    make_tool,
    open_tool_record,
    tool_is_casting,
)
from shop.tools.due import tools_due
from shop.tools.life import wanting_replacement
from shop.tools.models import Tool
from shop.tools.replacing import Lead as ReplacementLead
from shop.tools.replacing import register_caster
from shop.tools.upkeep import due_on_day, upkeep
from shop.trace.providers import Part as TracePart
from shop.trace.providers import Use as TraceUse
from shop.trace.providers import register_trace

__all__ = [
    "SHOP_CHANGES",
    "NeedRow",
    "PersonInfo",
    "ReplacementLead",
    "ReplacementNeed",
    "Reported",
    "ShopChange",
    "TracePart",
    "TraceUse",
    "casting_costs",
    "coming_changes",
    "container",
    "container_by_code",
    "containers",
    "containers_by_id",
    "count_empty",
    "expected_receipts",
    "find_tool",
    "free_reservations",
    "hazard_lines",
    "issue",
    "issue_from_material",
    "lot_states",
    "make_replacement",
    "make_tool",
    "materials_by_code",
    "materials_by_id",
    "not_empty_after_all",
    "open_tool_record",
    "people_at",
    "received_at",
    "recipe",
    "recipe_by_code",
    "recipes",
    "register_caster",
    "register_open_purposes",
    "register_owner",
    "register_touched",
    "register_trace",
    "replace_requirements",
    "replacements_wanted",
    "report_change",
    "reserve",
    "reserved_by_container",
    "retried",
    "reverse",
    "rows_of_change",
    "site_week",
    "soon_unusable",
    "stamp",
    "system",
    "system_by_code",
    "systems",
    "take_back_change",
    "tool",
    "tool_by_code",
    "tool_is_casting",
    "tool_work",
    "tools_due",
]

containers = lots.containers


def _missing(what: str, wanted: object) -> NotFound:
    return NotFound(f"There is no {what} {wanted}.")


def system(system_id: int) -> SystemInfo:
    """Return one resin system by id."""
    found = systems([system_id])
    if not found:
        raise _missing("resin system", system_id)
    return found[0]


def system_by_code(code: str) -> SystemInfo:
    """Return one resin system by its code."""
    found = systems(code=code)
    if not found:
        raise _missing("resin system", code)
    return found[0]


def recipe(recipe_id: int) -> RecipeInfo:
    """Return one release recipe by id."""
    try:
        return release_agents.recipe(pk=recipe_id)
    except ReleaseRecipe.DoesNotExist:
        raise _missing("release recipe", recipe_id) from None


def recipe_by_code(code: str) -> RecipeInfo:
    """Return one release recipe by its code."""
    try:
        return release_agents.recipe(code=code)
    except ReleaseRecipe.DoesNotExist:
        raise _missing("release recipe", code) from None


def container(container_id: int) -> ContainerInfo:
    """Return one container by id, whatever its lot's status."""
    row = lots.with_lots().filter(pk=container_id).first()
    if row is None:
        raise _missing("container", container_id)
    return lots.container_info(row)


def lot_states(site_id: int, material_ids: Iterable[int]) -> list[tuple[int, str, str]]:
    """Return each lot of some materials at a site with its status and last day, by id."""
    rows = Lot.objects.filter(site=site_id, material__in=list(material_ids)).order_by("pk")
    found = rows.values_list("pk", "status", "expires_on")
    return [(pk, status, str(last)) for pk, status, last in found]


def containers_by_id(container_ids: Iterable[int]) -> dict[int, ContainerInfo]:
    """Return containers by id, whatever their lots' status; one query."""
    rows = lots.with_lots().filter(pk__in=set(container_ids))
    return {row.pk: lots.container_info(row) for row in rows}


def container_by_code(site_id: int, code: str) -> ContainerInfo:
    """Return one container of a site by what is scanned or typed of its label."""
    row = lots.with_lots().filter(lot__site=site_id, code=code).first()
    if row is None:
        named = find_code(Site.objects.get(pk=site_id), code, wanted=("can",), field="container")
        row = lots.with_lots().get(pk=named.pk)
    return lots.container_info(row)


def expected_receipts(site_id: int, material_ids: Iterable[int]) -> tuple[ExpectedReceipt, ...]:
    """Return what suppliers were sent an order for and have not delivered yet, by day."""
    site = Site.objects.get(pk=site_id)
    return tuple(
        ExpectedReceipt(
            material_id=row.material_id,
            quantity=row.quantity,
            # Goods of a day can't be relied on before it is over.
            expected_at=clock.day_end(max(row.due_on, clock.today(site)), site),
            shelf_life_months=row.shelf_life_months,
        )
        for row in purchasing.due(site_id, material_ids, statuses=purchasing.SENT)
    )


def tool(tool_id: int) -> ToolInfo:
    """Return one tool by id."""
    row = Tool.objects.filter(pk=tool_id).first()
    if row is None:
        raise _missing("tool", tool_id)
    return tools.tool_info(row)


def tool_by_code(site_id: int, code: str) -> ToolInfo:
    """Return one tool of a site by its code."""
    row = Tool.objects.filter(site=site_id, code=code).first()
    if row is None:
        raise _missing("tool", code)
    return tools.tool_info(row)


def find_tool(site_id: int, code: str) -> ToolInfo | None:
    """Return one tool of a site by its code, or nothing where the code is free."""
    row = Tool.objects.filter(site=site_id, code=code).first()
    return None if row is None else tools.tool_info(row)


def replacements_wanted(site_id: int, today: date) -> tuple[ReplacementNeed, ...]:
    """Return the tools of a site whose replacement must soon be ordered, the first first."""
    found = []
    for state in wanting_replacement(Site.objects.get(pk=site_id), today):
        ahead = state.ahead
        assert ahead is not None
        assert ahead.last_day is not None
        assert ahead.cast_by is not None
        found.append(
            ReplacementNeed(
                tool_id=state.tool.pk,
                code=state.tool.code,
                name=state.tool.name,
                shots=state.shots,
                shots_kept=int(ahead.left.kept),
                last_day=ahead.last_day,
                order_by=ahead.cast_by,
                lead_words=ahead.lead.words,
                basis=ahead.basis,
            )
        )
    return tuple(found)


def casting_costs(site_id: int, castings: Iterable[str]) -> dict[str, dict[str, Decimal]]:
    """Return what castings, named as `pour:7`, cost in material so far, by currency."""
    found = costs_of(Site.objects.get(pk=site_id), castings)
    return {name: dict(cost.totals) for name, cost in found.items() if not cost.unpriced}


def tool_work(site_id: int, days: Iterable[date], today: date) -> dict[date, tuple[ToolWork, ...]]:
    """Return what the tools of a site want on each of some days; what is overdue, today."""
    works = upkeep(Tool.objects.all(), site_id, today)
    return {
        day: tuple(
            ToolWork(
                tool_id=one.tool.pk, code=one.tool.code, name=one.tool.name,
                place="" if one.tool.location is None else one.tool.location.name,
                work=one.work, words=one.words, recipe=one.recipe, due_on=one.due_on,
                since=one.since,
            )
            for one in due_on_day(works, day, today) if one.due_on is not None
        )
        for day in days
    }  # fmt: skip


def recipes() -> tuple[RecipeInfo, ...]:
    """Return every release recipe, by code."""
    rows = ReleaseRecipe.objects.select_related("material", "sealer").order_by("code")
    return tuple(release_agents.recipe_info(row) for row in rows)


def materials_by_code(codes: Iterable[str]) -> tuple[MaterialInfo, ...]:
    """Return the materials with these codes, by code."""
    rows = materials.Material.objects.filter(code__in=set(codes)).order_by("code")
    return tuple(materials.material_info(row) for row in rows)


def reserved_by_container(container_ids: Iterable[int], *, prefix: str) -> dict[int, Decimal]:
    """Return what is set aside in each container for purposes that begin with `prefix`."""
    rows = (
        Reservation.objects.filter(container__in=list(container_ids), purpose__startswith=prefix)
        .values("container")
        .annotate(total=exact_sum("quantity"))
    )
    return {row["container"]: row["total"] for row in rows}


def stamp(site_id: int) -> str:
    """Return a text that differs once people, machines, places, stock or systems have changed."""
    parts = (sites.stamp(site_id), lots.stamp(site_id), materials.stamp())
    coming = [(row.line_id, str(row.quantity), row.due_on) for row in purchasing.due(site_id)]
    return repr((parts, coming))
