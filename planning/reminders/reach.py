"""Who is told at a site, and on which channels, by role and by each person's own choice."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from planning.reminders.kinds import RULES
from planning.reminders.models import Channel, ChannelChoice, ReminderSettings
from planning.reminders.quiet import held_until
from shared import clock
from shared.access.models import Membership, Role, Site, User
from shared.mail.backend import is_on


@dataclass(frozen=True)
class Reach:
    """One person on one channel."""

    user: User
    channel: str
    own: ReminderSettings | None
    zone: ZoneInfo

    @property
    def problem(self) -> str:
        """Say why nothing can be sent there; empty when it can."""
        if self.channel == Channel.EMAIL and not self.user.email:
            return f"{self.user} has no e-mail address."
        if self.channel == Channel.WEBHOOK:
            if self.own is None or not self.own.webhook_url:
                return f"{self.user} has given no webhook address."
            return self.own.webhook_off
        return ""

    def held_until(self, moment: datetime) -> datetime:
        """Return when this person may be written to, at the earliest."""
        own = self.own
        if own is None or own.quiet_from is None or own.quiet_until is None:
            return moment
        if self.channel == Channel.TODAY:
            return moment
        return held_until(moment, self.zone, own.quiet_from, own.quiet_until)


@dataclass(frozen=True)
class SiteReach:
    """The people of a site with their roles, choices and settings."""

    zone: ZoneInfo
    roles: dict[User, set[str]]
    choices: dict[tuple[int, str], list[str]]
    settings: dict[int, ReminderSettings]
    mail_on: bool = True
    """Whether there is a server that mail can leave by."""

    def for_kind(self, kind: str, *, escalated: bool = False) -> list[Reach]:
        """
        Return whom to tell of a kind.

        When nobody would be told at all, the administrators are, on the Today page: a reminder
        must not vanish because everybody has switched it off.
        """
        found = [
            Reach(user, channel, self.settings.get(user.pk), self.zone)
            for user in self.roles
            for channel in self._channels(user, kind, escalated)
        ]
        if any(reach.channel != Channel.CALENDAR for reach in found):
            return found
        last = [u for u, held in self.roles.items() if Role.ADMINISTRATOR in held]
        return found + [
            Reach(user, Channel.TODAY, self.settings.get(user.pk), self.zone) for user in last
        ]

    def _channels(self, user: User, kind: str, escalated: bool) -> tuple[str, ...]:
        """Return where a person is told; without a mail server on Today instead of by e-mail."""
        found = self._wished(user, kind, escalated)
        if self.mail_on or Channel.EMAIL not in found:
            return found
        return (Channel.TODAY, *(c for c in found if c not in (Channel.EMAIL, Channel.TODAY)))

    def _wished(self, user: User, kind: str, escalated: bool) -> tuple[str, ...]:
        """Return a person's own channels, else the usual ones of their role."""
        rule = RULES[kind]
        chosen = self.choices.get((user.pk, kind))
        if escalated:
            next_one = self.roles[user] & set(rule.escalate_to)
            return tuple(chosen or rule.channels) if next_one else ()
        if chosen is not None:
            return tuple(chosen)
        return rule.channels if self.roles[user] & set(rule.roles) else ()


def reach_of(site_id: int) -> SiteReach:
    """Read everybody who can be told at a site."""
    site = Site.objects.get(pk=site_id)
    roles: dict[User, set[str]] = defaultdict(set)
    members = Membership.objects.filter(site=site, user__is_active=True).select_related("user")
    for member in members.order_by("user_id"):
        roles[member.user].add(member.role)
    choices = ChannelChoice.objects.filter(site=site)
    own = ReminderSettings.objects.filter(user__in=list(roles))
    return SiteReach(
        clock.zone(site.time_zone),
        dict(roles),
        {(choice.user_id, choice.kind): list(choice.channels) for choice in choices},
        {row.user_id: row for row in own},
        is_on(),
    )
