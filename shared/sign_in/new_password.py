"""A new password by mail: asked for on a page, mailed by the worker, good for an hour and once."""

from __future__ import annotations

import logging
from datetime import timedelta

from django.conf import settings
from django.contrib.auth.tokens import default_token_generator
from django.core.mail import send_mail
from django.db.models import F, Q
from django.urls import reverse
from django.utils.encoding import force_bytes
from django.utils.http import urlsafe_base64_encode

from shared import clock
from shared.access.models import User
from shared.mail import backend
from shared.send import send
from shared.sign_in.models import AskedPassword

EACH = timedelta(minutes=5)
"""A person is mailed once in this time, however often it is asked for."""
MOST_AN_HOUR = 200
"""Rows an hour, over all people; no source. More is somebody's program."""
MOST_TRIES = 5
GOOD_FOR = timedelta(hours=1)
log = logging.getLogger(__name__)


def ask(name_or_email: str) -> None:
    """Note that a new password is asked for; what is not known here leaves no trace."""
    now, words = clock.now(), name_or_email.strip()
    if not words or AskedPassword.objects.filter(asked_at__gt=now - GOOD_FOR).count() >= (
        MOST_AN_HOUR
    ):
        return
    people = User.objects.filter(
        Q(username__iexact=words) | Q(email__iexact=words), is_active=True
    ).exclude(email="")[:5]
    for person in people:
        if not person.has_usable_password():
            continue
        lately = AskedPassword.objects.filter(user=person, asked_at__gt=now - EACH)
        if not lately.exists():
            AskedPassword.objects.create(user=person, asked_at=now)
    send("shared.tasks.mail_new_passwords")


def mail_all() -> int:
    """Mail the addresses on which new passwords are set; return how many left."""
    if not backend.is_on():
        return 0
    now, count = clock.now(), 0
    rows = AskedPassword.objects.filter(
        sent_at=None, asked_at__gt=now - GOOD_FOR, tries__lt=MOST_TRIES
    )
    for row in rows.select_related("user")[:50]:
        # Taken by one worker only: the one whose count of tries still holds.
        mine = AskedPassword.objects.filter(pk=row.pk, sent_at=None, tries=row.tries)
        if mine.update(tries=F("tries") + 1) != 1:
            continue
        try:
            _mail(row.user)
        except OSError as error:
            log.warning("A new password could not be mailed: %s", error)
            continue
        AskedPassword.objects.filter(pk=row.pk).update(sent_at=clock.now())
        count += 1
    AskedPassword.objects.filter(asked_at__lt=now - timedelta(days=2)).delete()
    return count


def address_for(person: User) -> str:
    """Return the address on which a person sets a new password."""
    uid = urlsafe_base64_encode(force_bytes(person.pk))
    path = reverse("new-password", args=(uid, default_token_generator.make_token(person)))
    return f"{settings.PUBLIC_URL.rstrip('/')}{path}"


def _mail(person: User) -> None:
    send_mail(
        "Set a new password",
        "Somebody, most likely you, asked for a new password for the casting shop.\n\n"
        f"Your name to sign in with is {person.username}. Set a password within an hour here:\n"
        f"{address_for(person)}\n\n"
        "If it was not you, do nothing: your password stays as it is.\n",
        backend.sender(),
        [person.email],
    )
