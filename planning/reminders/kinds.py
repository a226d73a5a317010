"""What each kind of reminder is: who is told, on which channels, how soon it must be confirmed."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta

from planning.reminders.models import Channel, Kind
from shared.access.models import Role


@dataclass(frozen=True)
class KindRule:
    """The usual treatment of a kind; people choose other channels for themselves."""

    roles: tuple[str, ...]
    channels: tuple[str, ...] = (Channel.TODAY, Channel.CALENDAR)
    confirm_within: timedelta | None = None
    """Nobody has confirmed by then: `escalate_to` is told."""
    escalate_to: tuple[str, ...] = (Role.PLANNER, Role.ADMINISTRATOR)
    through_quiet: bool = False
    """Sent in quiet hours too, because it cannot wait until morning."""
    caution: str = ""


CASTING = "Follow the safety data sheet, local rules and trained people; the stricter limit holds."
EMAILED = (Channel.TODAY, Channel.EMAIL, Channel.CALENDAR)

RULES: dict[str, KindRule] = {
    Kind.ALARM: KindRule(
        roles=(Role.TECHNICIAN, Role.PLANNER),
        channels=EMAILED,
        confirm_within=timedelta(minutes=5),
        through_quiet=True,
        caution="Go there or ring up; nobody stays alone with a hot pot. " + CASTING,
    ),
    Kind.POT_LIFE_ENDS: KindRule(
        roles=(Role.TECHNICIAN,),
        through_quiet=True,
        caution="After it do not pour: spread the rest thin or scrap the pot. " + CASTING,
    ),
    Kind.CURE_COMPLETE: KindRule(
        roles=(Role.TECHNICIAN,),
        channels=EMAILED,
        confirm_within=timedelta(hours=2),
        caution="Feel the surface and measure its hardness first. " + CASTING,
    ),
    Kind.NEXT_LIFT_OPENS: KindRule(roles=(Role.TECHNICIAN,), channels=EMAILED, caution=CASTING),
    Kind.NEXT_LIFT_CLOSES: KindRule(
        roles=(Role.TECHNICIAN, Role.PLANNER),
        channels=EMAILED,
        confirm_within=timedelta(minutes=20),
        through_quiet=True,
        caution="After this the lift must be abraded and cleaned before the next. " + CASTING,
    ),
    Kind.COATS_DRY: KindRule(roles=(Role.TECHNICIAN,)),
    Kind.UNATTENDED_PEAK: KindRule(
        roles=(Role.TECHNICIAN, Role.PLANNER),
        channels=EMAILED,
        confirm_within=timedelta(minutes=15),
        through_quiet=True,
        caution="A hot pot or casting can smoke and burn. " + CASTING,
    ),
    Kind.LOT_EXPIRES: KindRule(roles=(Role.PURCHASING, Role.PLANNER), channels=EMAILED),
    Kind.TOOL_DUE: KindRule(roles=(Role.TOOL_KEEPER,), channels=EMAILED),
    Kind.ORDER_LATE: KindRule(
        roles=(Role.PLANNER,),
        channels=EMAILED,
        confirm_within=timedelta(hours=24),
        escalate_to=(Role.ADMINISTRATOR,),
    ),
}
