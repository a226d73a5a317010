"""Somebody who leaves works here no more."""

from __future__ import annotations

from shared.access.models import User
from shop.sites.models import Person


def works_no_more(person: User) -> None:
    """Take a person who signed in out of the people that a plan may ask; their past stays."""
    for row in Person.objects.filter(user=person, in_use=True):
        row.in_use = False
        row.version += 1
        row.save()
