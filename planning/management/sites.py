"""The site a command is for."""

from __future__ import annotations

from argparse import ArgumentParser

from django.core.management.base import CommandError

from shared.access.models import Site


def add_site(parser: ArgumentParser) -> None:
    """Add --site; left out, the default site or the only one is meant."""
    parser.add_argument("--site", help="code of the site; the default one when left out")


def chosen_site(code: str | None) -> Site:
    """Return the site asked for, or say which there are."""
    sites = Site.objects.order_by("code")
    if code:
        found = sites.filter(code=code).first()
    else:
        found = sites.filter(is_default=True).first()
        if found is None and sites.count() == 1:
            found = sites.get()
    if found is None:
        known = ", ".join(sites.values_list("code", flat=True)) or "none yet"
        raise CommandError(f"Which site? Give --site CODE; known: {known}.")
    return found
