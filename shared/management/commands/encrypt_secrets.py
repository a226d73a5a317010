from __future__ import annotations

from typing import Any

from django.core.management import BaseCommand
from django.db import transaction

from shared.sealed import encrypt_all


class Command(BaseCommand):
    help = (
        "Encrypt every secret of the database by the first of SECRETS_KEYS. Run it after a new "
        "key was put first, and before the old one is taken away."
    )

    @transaction.atomic
    def handle(self, *args: Any, **options: Any) -> None:
        count = encrypt_all()
        self.stdout.write(f"{count} secrets are encrypted by the first key.")
