"""What may go onto a tool's face: the agent of its recipe, from a can in date, on a dry coat."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from shared import clock
from shared.access.models import User
from shared.errors import Invalid
from shop.core.recoat import window
from shop.errors import Refused
from shop.ledger import actions as ledger
from shop.lots.models import Container
from shop.materials.models import Material
from shop.release_agents.models import ReleaseRecipe, clash_words
from shop.tools.models import ON_FACE, Tool, ToolEvent, ToolEventKind
from shop.tools.upkeep import events_of, upkeep_of

MOST_COATS = 20


class AgentsClash(Refused):
    """An agent that must not go onto what is on the face."""

    own_code = "agents_clash"


class NotYetDry(Refused):
    """A coat on one that is still drying."""

    own_code = "not_yet_dry"


@dataclass(frozen=True)
class Coat:
    """
    What went onto the face: how many coats, from which can and how much of it.

    The quantity is in the unit of the agent, and goes out of the can by the ledger.
    """

    coats: int | None = None
    container: Container | None = None
    quantity: Decimal | None = None


NO_COAT = Coat()


def agent_for(tool: Tool, kind: str, coat: Coat, at: datetime) -> Material | None:
    """
    Return the agent that goes on, after everything that forbids it has been looked at.

    None where the tool has no recipe and no can is named, so that nobody knows.

    Raises
    ------
    Invalid, Refused
        With the field, or the reason why the agent may not go on yet or at all.
    """
    if kind not in ON_FACE:
        _refuse_elsewhere(coat)
        return None
    if kind == ToolEventKind.SEAL and coat.coats is not None:
        raise Invalid.one("coats", "not_coats", "coats belong to release coats; leave them out.")
    if (coat.container is None) != (coat.quantity is None):
        words = "container and quantity go together: which can, and how much of it went on."
        raise Invalid.one("quantity", "required", words)
    recipe = tool.release_recipe
    agent = _of_can(tool, coat) if coat.container else None
    if recipe is not None:
        agent = _of_recipe(recipe, kind, agent)
        if kind == ToolEventKind.COAT and coat.coats is None:
            words = "coats is empty; say how many coats went on."
            raise Invalid.one("coats", "required", words)
    if agent is not None:
        before = _before(tool, at)
        _refuse_clash(before, agent)
        if recipe is not None:
            _refuse_too_soon(tool, recipe, kind, before, at)
    return agent


def take_out(tool: Tool, event: ToolEvent, coat: Coat, by: User | None) -> None:
    """Take what went onto a tool out of its can; the trace finds the tool by it."""
    if coat.container is None or coat.quantity is None:
        return
    ledger.issue(
        container_id=coat.container.pk, quantity=coat.quantity, key=f"tool-event:{event.pk}",
        counterpart=f"tool:{tool.pk}", happened_at=event.at, by=by,
        reason=event.get_kind_display(),
    )  # fmt: skip


def _refuse_elsewhere(coat: Coat) -> None:
    for name in ("coats", "container", "quantity"):
        if getattr(coat, name) is not None:
            words = f"{name} belongs to sealing and coating; leave it out."
            raise Invalid.one(name, "not_on_the_face", words)


def _of_can(tool: Tool, coat: Coat) -> Material:
    assert coat.container is not None
    lot = coat.container.lot
    if lot.site_id != tool.site_id:
        words = f"container is {coat.container.code}; it stands at another site."
        raise Invalid.one("container", "other_site", words, value=coat.container.code)
    return lot.material


def _of_recipe(recipe: ReleaseRecipe, kind: str, taken: Material | None) -> Material:
    wanted = recipe.sealer if kind == ToolEventKind.SEAL else recipe.material
    if wanted is None:
        words = f"{recipe} has no sealer; enter one in the recipe, or leave the sealing out."
        raise Invalid.one("kind", "no_sealer", words)
    if taken is not None and taken.pk != wanted.pk:
        words = (
            f"container holds {taken}; {recipe} asks for {wanted}. Take a can of that, or give "
            "the tool another recipe."
        )
        raise Invalid.one("container", "other_agent", words, value=str(taken), limit=str(wanted))
    return wanted


def _before(tool: Tool, at: datetime) -> list[ToolEvent]:
    """Return what happened to the face up to a moment since it was last bare."""
    rows = [event for event in events_of([tool])[tool.pk] if event.at <= at]
    bare = [n for n, event in enumerate(rows) if event.kind == ToolEventKind.STRIP]
    return rows[bare[-1] :] if bare else rows


def _refuse_clash(before: list[ToolEvent], agent: Material) -> None:
    on_it = sorted({e.agent_id for e in before if e.agent_id not in (None, agent.pk)})
    if words := clash_words(on_it, agent.pk) if on_it else "":
        raise AgentsClash(
            f"{words} Take the old coats off first and write that down.", agent=agent.code
        )


def _refuse_too_soon(
    tool: Tool, recipe: ReleaseRecipe, kind: str, before: list[ToolEvent], at: datetime
) -> None:
    on_face = [event for event in before if event.kind in ON_FACE]
    today = clock.local(at, tool.site).date()
    coating = upkeep_of(tool, before, recipe, tool.site, today).coating
    if kind == ToolEventKind.COAT and coating is not None and coating.next == "seal":
        words = f"{recipe} asks for {recipe.sealer} on a bare face before the first coat."
        raise Refused(f"{words} Seal the face and write that down.", tool=tool.code)
    if not on_face:
        return
    last = on_face[-1]
    wait = recipe.sealer_dry_min if last.kind == ToolEventKind.SEAL else recipe.dry_min
    dry = window(last.at, wait).earliest
    if at < dry:
        raise NotYetDry(
            f"The last coat of {tool.code} dries {wait} min, until "
            f"{clock.local(dry, tool.site):%H:%M} on {clock.local(dry, tool.site):%d %b %Y}; "
            "the next goes on after that.",
            tool=tool.code,
        )
