"""The person a command works for."""

from __future__ import annotations

from argparse import ArgumentParser
from dataclasses import dataclass

from django.core.management.base import CommandError

from shared.access.models import Role, Site, User


@dataclass(frozen=True)
class Caller:
    """Somebody in whose name a command acts."""

    user: User
    auth: None = None


def add_caller(parser: ArgumentParser) -> None:
    """Add --person; left out, the site's first administrator is meant."""
    parser.add_argument("--person", help="who does it, by sign-in name; an administrator if not")


def chosen_caller(name: str | None, site: Site) -> Caller:
    """Return who was asked for, else an administrator of the site."""
    people = User.objects.filter(is_active=True).order_by("pk")
    if name:
        found = people.filter(username=name).first()
    else:
        own = people.filter(memberships__site=site, memberships__role=Role.ADMINISTRATOR)
        found = own.first() or people.filter(is_superuser=True).first()
    if found is None:
        raise CommandError("Nobody of that name signs in here; give --person NAME.")
    return Caller(found)
