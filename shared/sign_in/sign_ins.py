"""Where a person is signed in: listed, and ended one by one or all at once."""

from __future__ import annotations

from typing import Any

from django.contrib.auth.signals import user_logged_in, user_logged_out
from django.contrib.sessions.models import Session
from django.db import transaction

from shared import clock
from shared.access.models import User
from shared.sign_in.models import SignedIn

MOST_LISTED = 100


def watch() -> None:
    """Begin to listen; called once when the application starts."""
    user_logged_in.connect(_began, dispatch_uid="sign-in-began")
    user_logged_out.connect(_ended, dispatch_uid="sign-in-ended")


def _began(sender: Any, request: Any, user: User, **_: Any) -> None:
    if request is None or not hasattr(request, "session"):
        return
    if request.session.session_key is None:
        request.session.save()
    SignedIn.objects.update_or_create(
        session_key=request.session.session_key,
        defaults={
            "user": user,
            "began_at": clock.now(),
            "address": request.META.get("REMOTE_ADDR") or None,
            "browser": request.META.get("HTTP_USER_AGENT", "")[:200],
        },
    )


def _ended(sender: Any, request: Any, user: User | None, **_: Any) -> None:
    SignedIn.objects.filter(session_key=request.session.session_key or "").delete()


def sign_ins_of(person: User) -> list[SignedIn]:
    """Return where a person is signed in now, the newest first, at most `MOST_LISTED`."""
    rows = list(SignedIn.objects.filter(user=person)[:MOST_LISTED])
    keys = [row.session_key for row in rows]
    good = set(
        Session.objects.filter(session_key__in=keys, expire_date__gt=clock.now()).values_list(
            "session_key", flat=True
        )
    )
    return [row for row in rows if row.session_key in good]


@transaction.atomic
def end(person: User, *, only: int | None = None, but: str = "") -> int:
    """
    End sign-ins of a person at once; return how many there were.

    Parameters
    ----------
    person : User
        Whose; those of others are never touched.
    only : int, optional
        Id of the one to end; all when left out.
    but : str, optional
        Key of a session that goes on.
    """
    rows = SignedIn.objects.filter(user=person).exclude(session_key=but)
    if only is not None:
        rows = rows.filter(pk=only)
    keys = list(rows.values_list("session_key", flat=True))
    Session.objects.filter(session_key__in=keys).delete()
    rows.delete()
    return len(keys)


def forget_ended() -> int:
    """Delete what is known of sessions that are gone; return how many."""
    there = Session.objects.values("session_key")
    return SignedIn.objects.exclude(session_key__in=there).delete()[0]


def carry_on(before: str | None, after: str | None) -> None:
    """Follow a session that goes on under another key."""
    SignedIn.objects.filter(session_key=before or "").update(session_key=after or "")
