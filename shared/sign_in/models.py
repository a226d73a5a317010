"""The second step of signing in, where a person is signed in, and passwords asked for by mail."""

from __future__ import annotations

from typing import ClassVar

from django.db import models

from shared.access.models import User
from shared.sealed import SealedField


class SecondStep(models.Model):
    """A person's authenticator app; it is asked for once a first code has proved that it works."""

    user = models.OneToOneField(User, models.CASCADE, related_name="second_step")
    secret = SealedField()
    made_at = models.DateTimeField()
    confirmed_at = models.DateTimeField(null=True, blank=True)
    last_count = models.BigIntegerField(default=0)
    """Count of 30 s steps of the newest code taken; no code is taken twice."""

    def __str__(self) -> str:
        return f"second step of {self.user}"


class SpareCode(models.Model):
    """A code that opens once when the app is lost; only its hash is kept."""

    user = models.ForeignKey(User, models.CASCADE, related_name="spare_codes")
    digest = models.CharField(max_length=64, unique=True)
    used_at = models.DateTimeField(null=True, blank=True)

    def __str__(self) -> str:
        return f"spare code of {self.user}"


class SignedIn(models.Model):
    """A browser in which a person is signed in, known by the key of its session."""

    user = models.ForeignKey(User, models.CASCADE, related_name="signed_in")
    session_key = models.CharField(max_length=40, unique=True)
    began_at = models.DateTimeField()
    address = models.GenericIPAddressField(null=True, blank=True)
    browser = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["-began_at", "-id"]

    def __str__(self) -> str:
        return f"{self.user} since {self.began_at:%Y-%m-%d %H:%M}"

    @property
    def browser_words(self) -> str:
        """The program and the machine as the browser names them, without what all of them say."""
        machine = self.browser.partition("(")[2].partition(")")[0]
        names = [word.partition("/")[0] for word in self.browser.rpartition(")")[2].split()]
        return ", ".join(filter(None, (" ".join(names[-2:]), machine))) or self.browser


class AskedPassword(models.Model):
    """Somebody asked for a new password by mail; the worker sends it."""

    user = models.ForeignKey(User, models.CASCADE, related_name="+")
    asked_at = models.DateTimeField()
    sent_at = models.DateTimeField(null=True, blank=True)
    tries = models.PositiveSmallIntegerField(default=0)

    class Meta:
        ordering = ["asked_at", "id"]
        indexes: ClassVar = [
            models.Index(fields=["asked_at"], name="askedpassword_asked_at"),
        ]

    def __str__(self) -> str:
        return f"new password for {self.user}"
