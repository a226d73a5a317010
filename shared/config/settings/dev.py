"""Settings for a shop on one computer: plain HTTP on the loopback."""

from __future__ import annotations

import os
import secrets
from pathlib import Path

from shared.config import environment

_ROOT = Path(__file__).resolve().parents[3]


def _own_secret() -> str:
    """Return this installation's own random key, made at the first start."""
    path = environment.folder("SHOP_DATA", _ROOT / ".shop-data") / "secret_key"
    try:
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    except FileExistsError:
        return path.read_text().strip()
    with os.fdopen(handle, "w") as file:
        key = secrets.token_urlsafe(48)
        file.write(key)
    return key


if not os.environ.get("SECRET_KEY"):
    os.environ["SECRET_KEY"] = _own_secret()
os.environ.setdefault("ALLOWED_HOSTS", "localhost,127.0.0.1,[::1]")
os.environ.setdefault("FOUND_IN_BROWSER", "1")
os.environ.setdefault("BACKUPS_KEPT", "14")

from shared.config.settings.base import *  # noqa: E402, F403

DEBUG = environment.flag("DEBUG")

# `open_shop --lan` serves a local network by https.
SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = environment.flag("HTTPS_ONLY")
SECURE_SSL_REDIRECT = False
SECURE_HSTS_SECONDS = 0
SECURE_HSTS_INCLUDE_SUBDOMAINS = SECURE_HSTS_PRELOAD = False
