"""A repair and its lots, back in use, retirement with its reason, and entries withdrawn."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal

from django.db import transaction

from shared import clock
from shared.access.models import User
from shared.change import change
from shared.errors import Invalid
from shop.errors import NotFound, Refused
from shop.ledger import actions as ledger
from shop.ledger.models import Movement
from shop.lots.models import Container
from shop.tools.inspecting import ACCEPT, OUT_OF_USE
from shop.tools.inspection_models import RepairLot, RetirementReason
from shop.tools.models import PUT_RIGHT_OTHERWISE, Tool, ToolEvent, ToolEventKind, ToolStatus

OTHER = "other"
USUAL_REASONS = {
    "worn out": True,
    "damaged beyond repair": True,
    "not needed any more": False,
    "design changed": False,
    "returned to its owner": False,
    OTHER: False,
}
"""Reasons of retirement that every shop has, and whether they are the end of a life by use."""
MOST_LOTS = 20
OF_STATE = (
    ToolEventKind.REPAIR, ToolEventKind.BACK, ToolEventKind.INSPECTION, ToolEventKind.RETIREMENT,
)  # fmt: skip
STATES = (ToolStatus.IN_SERVICE, ToolStatus.REPAIR, ToolStatus.RETIRED)


@dataclass(frozen=True)
class Used:
    """What a repair took of one can, in the unit of its material."""

    container: Container
    quantity: Decimal


def refuse_used(tool: Tool, kind: str, used: Sequence[Used]) -> None:
    """Refuse lots of anything but a repair, a can of another site, and one named twice."""
    if used and kind != ToolEventKind.REPAIR:
        raise Invalid.one("used", "not_a_repair", "used belongs to a repair; leave it out.")
    if len(used) > MOST_LOTS:
        words = f"used has {len(used)} cans; at most {MOST_LOTS} are kept of one repair."
        raise Invalid.one("used", "too_many", words, value=len(used), limit=MOST_LOTS)
    seen: set[int] = set()
    for n, one in enumerate(used):
        where, code = f"used/{n}/container", one.container.code
        if one.container.lot.site_id != tool.site_id:
            words = f"container is {code}; it stands at another site."
            raise Invalid.one(where, "other_site", words, value=code)
        if one.container.pk in seen:
            words = f"container {code} stands twice; give the sum once."
            raise Invalid.one(where, "twice", words, value=code)
        seen.add(one.container.pk)


def take_used(tool: Tool, event: ToolEvent, used: Iterable[Used], by: User | None) -> None:
    """Take what a repair used out of its cans; the trace finds the tool by it."""
    for n, one in enumerate(used, start=1):
        moved = ledger.issue(
            container_id=one.container.pk, quantity=one.quantity,
            key=f"tool-event:{event.pk}:{n}", counterpart=f"tool:{tool.pk}",
            happened_at=event.at, by=by, reason=event.get_kind_display(),
        )  # fmt: skip
        RepairLot.objects.create(
            event=event, container=one.container, quantity=one.quantity, movement_id=moved.id
        )


def reasons(site_id: int) -> dict[str, bool]:
    """Return the reasons of retirement of a site, and whether each is the end of a life by use."""
    own = RetirementReason.objects.filter(site=site_id, in_use=True).order_by("name")
    return {**USUAL_REASONS, **dict(own.values_list("name", "worn"))}


def retired_for(tool: Tool, kind: str, reason: str, words: str) -> bool | None:
    """
    Return whether a retirement is the end of a life by use; None where that is not said.

    Raises
    ------
    Invalid
        A retirement without a reason or words, a reason that is not on the list, or ``other``
        without words.
    """
    if kind != ToolEventKind.RETIREMENT:
        if reason:
            words = "reason belongs to a retirement; leave it out."
            raise Invalid.one("reason", "not_a_retirement", words)
        return None
    if not reason and not words:
        said = "reason is empty; choose one of the list, or say in words why it is retired."
        raise Invalid.one("reason", "required", said)
    known = reasons(tool.site_id)
    if reason and reason not in known:
        said = f"reason is {reason[:60]!r}; it must be one of: {', '.join(known)}."
        raise Invalid.one("reason", "invalid_choice", said, value=reason[:60])
    if reason == OTHER and not words:
        raise Invalid.one("words", "required", "words is empty; say which other reason it is.")
    return known.get(reason)


def refuse_back(tool: Tool, kind: str, by: User | None) -> None:
    """Refuse to put a tool back in use that is not under repair, or that nobody answers for."""
    if kind != ToolEventKind.BACK:
        return
    if by is None:
        words = "A tool is put back in use by a person who is signed in; nobody is."
        raise Refused(words, tool=tool.code)
    if tool.status != ToolStatus.REPAIR:
        words = (
            f"kind is back; tool {tool.code} is {tool.get_status_display().lower()}, and only a "
            "tool under repair comes back in use."
        )
        raise Invalid.one("kind", "not_under_repair", words, value=kind)


@transaction.atomic
def withdraw(*, event_id: int, words: str, key: str, by: User | None = None) -> ToolEvent:
    """
    Take back a wrong entry by a further one; a repeat of the key returns the first.

    What the entry had taken out of cans goes back by the ledger, and the tool has the state again
    that its other entries give it. The entry stays to be seen.

    Raises
    ------
    Invalid
        No reason is given, the entry is of a kind that is put right otherwise, or is withdrawn.
    """
    found = ToolEvent.objects.filter(pk=event_id).first()
    if found is None:
        raise NotFound(f"There is no tool event {event_id}.", event=event_id)
    tool = Tool.objects.select_for_update(no_key=True).get(pk=found.tool_id)
    earlier = ToolEvent.objects.filter(key=key).first()
    if earlier is not None:
        if earlier.corrects_id != found.pk:
            raise Refused(f"The key {key} was used for another event; use a new key.", key=key)
        return earlier
    _refuse_withdrawal(found, words)
    made = ToolEvent.objects.create(
        tool=tool, kind=ToolEventKind.WITHDRAWAL, key=key, at=found.at, recorded_at=clock.now(),
        by=by, corrects=found, words=words,
    )  # fmt: skip
    _put_back(found, words, by)
    if found.kind in OF_STATE and (state := state_by_entries(tool)) != tool.status:
        change(tool, status=state)
    return made


def _refuse_withdrawal(event: ToolEvent, words: str) -> None:
    if not words:
        raise Invalid.one("words", "required", "words is empty; say why it is withdrawn.")
    if event.kind in PUT_RIGHT_OTHERWISE:
        kind = event.get_kind_display().lower()
        said = f"The entry is {kind!r}; {PUT_RIGHT_OTHERWISE[ToolEventKind(event.kind)]}."
        raise Invalid.one("kind", "not_withdrawn", said, value=event.kind)
    if event.corrections.filter(kind=ToolEventKind.WITHDRAWAL).exists():
        raise Invalid.one("words", "unchanged", "The entry is withdrawn already.")


def _put_back(event: ToolEvent, words: str, by: User | None) -> None:
    stem = f"tool-event:{event.pk}"
    keys = [stem, *(f"{stem}:{n}" for n in range(1, MOST_LOTS + 1))]
    taken = Movement.objects.filter(key__in=keys, reversed_by=None)
    for key in taken.order_by("pk").values_list("key", flat=True):
        ledger.reverse(
            key_of_original=key, key=f"withdrawn:{key}", reason=words[:200], by=by,
            happened_at=clock.now(),
        )  # fmt: skip


def state_by_entries(tool: Tool) -> str:
    """Return the state that the standing entries give a tool that has been in service."""
    if tool.status not in STATES:
        return tool.status
    state = ToolStatus.IN_SERVICE
    for event in tool.events.standing().filter(kind__in=OF_STATE).order_by("pk"):
        verdict = str(event.facts.get("verdict", ""))
        if event.kind == ToolEventKind.RETIREMENT:
            state = ToolStatus.RETIRED
        elif event.kind == ToolEventKind.REPAIR or verdict in OUT_OF_USE:
            state = ToolStatus.REPAIR
        elif event.kind == ToolEventKind.BACK or verdict == ACCEPT:
            state = ToolStatus.IN_SERVICE
    return state
