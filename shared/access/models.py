"""Sites, people who sign in, what they may do where, and the tokens of other systems."""

from __future__ import annotations

from typing import ClassVar
from uuid import uuid4
from zoneinfo import available_timezones

from django.contrib.auth.models import AbstractUser
from django.core.exceptions import ValidationError
from django.core.validators import RegexValidator
from django.db import models

CODE = RegexValidator(
    r"\A[A-Za-z0-9][A-Za-z0-9._-]{0,39}\Z",
    "Use letters, digits, dot, hyphen or underscore; at most 40, the first a letter or digit.",
)


def check_time_zone(value: str) -> None:
    """Refuse a zone that the IANA database does not know."""
    if value not in available_timezones():
        raise ValidationError(f"time_zone is {value!r}; give an IANA name such as Europe/Berlin.")


class Role(models.TextChoices):
    """What a person is at a site; `shared.api.roles` says what each may do."""

    TECHNICIAN = "technician", "Technician"
    PLANNER = "planner", "Planner"
    PURCHASING = "purchasing", "Purchasing"
    TOOL_KEEPER = "tool_keeper", "Tool keeper"
    QUALITY = "quality", "Quality"
    ADMINISTRATOR = "administrator", "Administrator"
    INTEGRATION = "integration", "Integration"


class Site(models.Model):
    """A place of work with its own stock, people and plans."""

    code = models.CharField(max_length=40, unique=True, validators=[CODE])
    name = models.CharField(max_length=120)
    time_zone = models.CharField(max_length=64, default="UTC", validators=[check_time_zone])
    is_default = models.BooleanField(default=False)
    expected_c = models.DecimalField(
        "expected shop temperature, °C", max_digits=4, decimal_places=1, default=20
    )
    legal_name = models.CharField(
        max_length=160, blank=True, help_text="As it stands on orders; empty: the name."
    )
    address = models.CharField(max_length=400, blank=True, help_text="Where bills go.")
    delivery_address = models.CharField(
        max_length=400, blank=True, help_text="Where goods go; empty: the address."
    )
    contact = models.CharField(
        max_length=200, blank=True, help_text="Whom suppliers ask: name, telephone, e-mail."
    )
    tax_number = models.CharField(max_length=40, blank=True)
    uid = models.UUIDField(
        default=uuid4, unique=True, editable=False, help_text="The same nowhere else: RFC 9562."
    )
    version = models.PositiveIntegerField(default=1, editable=False)

    class Meta:
        ordering = ["code"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["is_default"],
                condition=models.Q(is_default=True),
                name="site_one_default",
                violation_error_message="There is a default site already; only one may be it.",
            ),
            models.CheckConstraint(
                condition=models.Q(expected_c__gte=0, expected_c__lte=45),
                name="site_expected_c_0_to_45",
                violation_error_message="The expected shop temperature must be 0 to 45 °C.",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class User(AbstractUser):
    """Somebody who signs in, or an integration that holds tokens."""

    def __str__(self) -> str:
        return self.get_full_name() or self.username


class Membership(models.Model):
    """The role of a person at a site."""

    user = models.ForeignKey(User, on_delete=models.CASCADE, related_name="memberships")
    site = models.ForeignKey(Site, on_delete=models.CASCADE, related_name="memberships")
    role = models.CharField(max_length=20, choices=Role.choices)

    class Meta:
        ordering = ["site__code", "role"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["user", "site", "role"], name="membership_once"),
        ]

    def __str__(self) -> str:
        return f"{self.user}: {self.get_role_display()} at {self.site}"


class CompanyMembership(models.Model):
    """A role held for what belongs to all sites: the catalogue, the routes, opening a site."""

    user = models.ForeignKey(User, on_delete=models.CASCADE, related_name="company_memberships")
    role = models.CharField(max_length=20, choices=Role.choices)

    class Meta:
        ordering = ["user", "role"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["user", "role"], name="companymembership_once"),
        ]

    def __str__(self) -> str:
        return f"{self.user}: {self.get_role_display()} for all sites"


class AccessToken(models.Model):
    """A key for another system; only its hash is kept."""

    owner = models.ForeignKey(User, on_delete=models.CASCADE, related_name="tokens")
    name = models.CharField(max_length=120)
    prefix = models.CharField(max_length=12, db_index=True)
    digest = models.CharField(max_length=64, unique=True)
    scopes = models.JSONField(default=list)
    sites = models.ManyToManyField(Site, related_name="+")
    created_at = models.DateTimeField()
    expires_at = models.DateTimeField(null=True, blank=True)
    revoked_at = models.DateTimeField(null=True, blank=True)
    last_used_at = models.DateTimeField(null=True, blank=True)
    old_digest = models.CharField(max_length=64, blank=True, db_index=True)
    old_secret_until = models.DateTimeField(
        null=True, blank=True, help_text="Until then the secret before the newest is taken too."
    )
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ["-created_at", "-id"]

    def __str__(self) -> str:
        return f"{self.name} ({self.prefix}…)"
