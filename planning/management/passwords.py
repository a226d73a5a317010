"""A password for a command: from the environment, or typed twice."""

from __future__ import annotations

import getpass
import os
import sys

from django.core.management.base import CommandError

PASSWORD = "SHOP_ADMIN_PASSWORD"


def asked_password() -> str:
    """Return the password of the environment, or ask whoever sits there."""
    given = os.environ.get(PASSWORD, "")
    if given:
        return given
    if not sys.stdin.isatty():
        raise CommandError(f"No password is given: set {PASSWORD} in the environment.")
    first = getpass.getpass("Password of the administrator: ")
    if getpass.getpass("Once more: ") != first:
        raise CommandError("The two passwords differ; nothing was changed.")
    return first
