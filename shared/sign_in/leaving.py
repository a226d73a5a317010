"""Somebody leaves: what still hangs on them is named, and nothing they hold opens any more."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from django.db import transaction

from shared import clock
from shared.access import queries
from shared.access.actions import check_may_change
from shared.access.models import AccessToken, Membership, Role, User
from shared.errors import ShopError
from shared.sign_in import sign_ins

MOST_LISTED = 50


@dataclass(frozen=True)
class Tie:
    """Something that somebody else must take over."""

    words: str
    path: str
    """Page on which that is done."""


Ties = Callable[[User], Iterable[Tie]]
Ending = Callable[[User], None]
_ties: list[Ties] = []
_endings: list[Ending] = []


def register_ties(function: Ties) -> None:
    """Let an app name what hangs on a person."""
    if function not in _ties:
        _ties.append(function)


def register_ending(function: Ending) -> None:
    """Let an app end what it holds of a person who leaves."""
    if function not in _endings:
        _endings.append(function)


def ties_of(person: User) -> list[Tie]:
    """Return what still hangs on a person, at most `MOST_LISTED`."""
    return [tie for function in _ties for tie in function(person)][:MOST_LISTED]


@transaction.atomic
def leave(person: User, *, by: User) -> None:
    """
    Take somebody out: no sign-in, no token, no role; their name stays on what they did.

    Raises
    ------
    ShopError
        If they are the one who asks, the last administrator of a site, or of a site that the
        other does not run.
    """
    if person == by:
        raise ShopError("You cannot take yourself out; ask another administrator.", "yourself")
    check_may_change(person, by)
    for member in Membership.objects.filter(user=person, role=Role.ADMINISTRATOR):
        if queries.is_last_administrator(person, member.site):
            raise ShopError(
                f"{person} is the last administrator of {member.site}; name another first.",
                "last_one",
            )
    person.is_active = False
    person.set_unusable_password()
    person.save()
    for token in AccessToken.objects.filter(owner=person, revoked_at=None):
        token.revoked_at = clock.now()
        token.save(update_fields=["revoked_at"])
    for role in (*person.memberships.all(), *person.company_memberships.all()):
        role.delete()
    for ending in _endings:
        ending(person)
    sign_ins.end(person)
