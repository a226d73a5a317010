from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from shared.access.actions import issue_token
from shared.access.models import Site, User
from shared.api.access import access_of_user
from shared.api.roles import SCOPES
from shared.errors import ShopError


class Command(BaseCommand):
    help = "Make an API token for somebody, with all they may do at their sites; shown once."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("username")
        parser.add_argument("--by", help="an administrator who answers for it; default: the owner")
        parser.add_argument("--name", default="command line", help="what it is for")

    def handle(self, *args: Any, **options: Any) -> None:
        owner, by = (
            self._person(options[name] or options["username"]) for name in ("username", "by")
        )
        sites = list(Site.objects.filter(memberships__user=owner).distinct())
        access = access_of_user(owner)
        scopes = {s for s in SCOPES if all(access.may(s, site.pk) for site in sites)}
        try:
            _, secret = issue_token(
                owner=owner, name=options["name"], sites=sites, scopes=scopes,
                expires_at=None, by=by,
            )  # fmt: skip
        except ShopError as error:
            raise CommandError(str(error)) from error
        self.stdout.write(secret)

    def _person(self, username: str) -> User:
        person = User.objects.filter(username=username).first()
        if person is None:
            raise CommandError(f"There is nobody with the username {username!r}.")
        return person
