"""
The second step of signing in: a code of six digits from an authenticator app (TOTP, RFC 6238).

The secret is kept encrypted; a code is good from 30 s before its time to 30 s after it, and once.
"""

from __future__ import annotations

import hmac
import secrets
from datetime import timedelta
from typing import Any

import pyotp
from django.conf import settings
from django.db import transaction

from shared import clock
from shared.access.models import CompanyMembership, Membership, User
from shared.api.authentication import digest
from shared.errors import Invalid, ShopError
from shared.sign_in.models import SecondStep, SpareCode

FRESH = timedelta(hours=1)
"""How long a secret that was shown may wait for its first code."""
STEP_S = 30
DRIFT = 1
"""Steps that a phone's clock may be off either way."""
SPARE_CODES = 10
LETTERS = "ABCDEFGHJKMNPQRSTVWXYZ23456789"
"""Without letters and digits that are taken for one another."""
SPARE_LETTERS = 16


def is_on(person: User) -> bool:
    """Tell whether signing in asks this person for a code."""
    return SecondStep.objects.filter(user=person, confirmed_at__isnull=False).exists()


def is_wanted_of(person: User) -> bool:
    """Tell whether the company asks for a second step from a role that this person has."""
    roles = settings.SECOND_STEP_ROLES
    if not roles or is_on(person):
        return False
    return (
        Membership.objects.filter(user=person, role__in=roles).exists()
        or CompanyMembership.objects.filter(user=person, role__in=roles).exists()
    )


def begin(person: User) -> SecondStep:
    """Return the secret to put into an app; a new one until a first code has been given."""
    if is_on(person):
        raise ShopError("Signing in asks for a code already.", "second_step_on")
    made = SecondStep.objects.filter(user=person).first()
    if made is None or clock.now() - made.made_at > FRESH:
        made, _ = SecondStep.objects.update_or_create(
            user=person,
            defaults={"secret": pyotp.random_base32(), "made_at": clock.now(), "last_count": 0},
        )
    return made


def address_of(step: SecondStep, name: str) -> str:
    """Return the `otpauth` address of a secret, which apps read from its QR code."""
    return pyotp.TOTP(step.secret).provisioning_uri(name=step.user.username, issuer_name=name)


@transaction.atomic
def confirm(person: User, code: str) -> list[str]:
    """
    Turn the second step on with a first code; return the spare codes, shown this once.

    Raises
    ------
    Invalid
        If the code is not the app's.
    """
    step = SecondStep.objects.select_for_update().filter(user=person).first()
    if step is None or not _take_app_code(step, code):
        raise Invalid.one(
            "code",
            "wrong",
            "The code is not the app's of now. Wait for the next one; if that is refused too, "
            "set the phone's time to automatic.",
        )
    step.confirmed_at = clock.now()
    step.save(update_fields=["confirmed_at"])
    return new_spare_codes(person)


@transaction.atomic
def new_spare_codes(person: User) -> list[str]:
    """Replace a person's spare codes; return the new ones, which are not kept in clear."""
    SpareCode.objects.filter(user=person).delete()
    codes = [
        "".join(secrets.choice(LETTERS) for _ in range(SPARE_LETTERS)) for _ in range(SPARE_CODES)
    ]
    SpareCode.objects.bulk_create(
        [SpareCode(user=person, digest=digest(_spare(code))) for code in codes]
    )
    return ["-".join(code[i : i + 4] for i in range(0, SPARE_LETTERS, 4)) for code in codes]


def spare_codes_left(person: User) -> int:
    """Return how many spare codes still open."""
    return SpareCode.objects.filter(user=person, used_at__isnull=True).count()


@transaction.atomic
def take_code(person: User, code: str) -> bool:
    """Take a code of the app or a spare one; tell whether it was right. Each opens once."""
    step = SecondStep.objects.filter(user=person, confirmed_at__isnull=False).first()
    if step is None:
        return False
    if _take_app_code(step, code):
        return True
    spare = SpareCode.objects.filter(user=person, digest=digest(_spare(code)), used_at=None)
    return spare.update(used_at=clock.now()) == 1


@transaction.atomic
def turn_off(person: User) -> None:
    """Ask this person for no code any more."""
    SecondStep.objects.filter(user=person).delete()
    SpareCode.objects.filter(user=person).delete()


def _take_app_code(step: SecondStep, code: str) -> bool:
    digits = "".join(code.split())
    count = int(clock.now().timestamp()) // STEP_S
    app = pyotp.TOTP(step.secret)
    for around in range(count - DRIFT, count + DRIFT + 1):
        if hmac.compare_digest(app.generate_otp(around).encode(), digits.encode()):
            newer = SecondStep.objects.filter(pk=step.pk, last_count__lt=around)
            return newer.update(last_count=around) == 1
    return False


def _spare(code: str) -> str:
    return "".join(code.split()).replace("-", "").upper()


def told_of(person: User) -> dict[str, Any]:
    """Return what a page says of a person's second step."""
    return {"on": is_on(person), "spare": spare_codes_left(person)}
