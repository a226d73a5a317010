"""Make a token for another system from the command line, and print it once."""

from __future__ import annotations

from argparse import ArgumentParser
from datetime import timedelta
from typing import Any

from django.core.management import BaseCommand, CommandError
from django.db import transaction

from shared import clock
from shared.access import actions
from shared.access.models import Membership, Site, User
from shared.api.access import access_of_user
from shared.api.roles import ROLES, SCOPES
from shared.errors import ShopError


class Command(BaseCommand):
    help = (
        "Print a new token for another system. NAME becomes an account of its own with the role "
        "'integration', unless somebody of that name can sign in already."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("name", metavar="NAME", help="who will hold the token")
        parser.add_argument("--site", metavar="CODE", help="site; may be left out with only one")
        parser.add_argument(
            "--role", default="integration", choices=sorted(ROLES), help="role of a new account"
        )
        parser.add_argument(
            "--scope", action="append", metavar="SCOPE", help="such as lots:read; all without it"
        )
        parser.add_argument("--days", type=int, help="days until it expires; never without it")

    @transaction.atomic
    def handle(self, *args: Any, **options: Any) -> None:
        site = self.site(options["site"])
        owner, new = User.objects.get_or_create(username=options["name"])
        if new:
            owner.set_unusable_password()
            owner.save()
            Membership.objects.create(user=owner, site=site, role=options["role"])
        held = access_of_user(owner).scopes_by_site.get(site.pk, frozenset())
        scopes = set(options["scope"] or held)
        if unknown := scopes - SCOPES:
            raise CommandError(
                f"There is no scope {', '.join(sorted(unknown))}; there are "
                f"{', '.join(sorted(SCOPES))}."
            )
        days = options["days"]
        if days is not None and not 1 <= days <= 3650:
            raise CommandError(f"--days is {days}; it must be 1 to 3650.")
        try:
            _, secret = actions.issue_token(
                owner=owner,
                name=options["name"],
                sites=[site],
                scopes=scopes,
                expires_at=clock.now() + timedelta(days=days) if days else None,
                by=None,
            )
        except ShopError as error:
            raise CommandError(error.message) from error
        self.stdout.write(secret)

    def site(self, code: str | None) -> Site:
        sites = list(Site.objects.filter(code=code) if code else Site.objects.all()[:2])
        if len(sites) == 1:
            return sites[0]
        codes = ", ".join(Site.objects.values_list("code", flat=True)) or "none yet"
        raise CommandError(f"Name one site with --site CODE; there are: {codes}.")
