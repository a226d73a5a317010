"""
Secrets in the database, encrypted so that a stolen copy of it opens nothing by itself.

`SECRETS_KEYS` holds texts, with commas between: the first encrypts, each opens. Without it the
installation's SECRET_KEY does. To change the key put the new one first, run
``manage.py encrypt_secrets``, then take the old one away. Encryption is Fernet (AES-128-CBC and
HMAC-SHA-256) of the library `cryptography`, with a key derived by HKDF (RFC 5869).
"""

from __future__ import annotations

import base64
import logging
from functools import lru_cache
from typing import Any

from cryptography.fernet import Fernet, InvalidToken, MultiFernet
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.kdf.hkdf import HKDF
from django.apps import apps
from django.conf import settings
from django.db import models

_MARK = "sealed1:"
log = logging.getLogger(__name__)


class Unreadable(str):
    """An empty secret that no key given opens; what is stored stays as it is when it is saved."""

    stored: str

    def __new__(cls, stored: str) -> Unreadable:
        found = super().__new__(cls, "")
        found.stored = stored
        return found


def seal(text: str) -> str:
    """Return a secret as it is stored; empty stays empty."""
    return f"{_MARK}{_keys(_texts()).encrypt(text.encode()).decode()}" if text else ""


def unseal(stored: str) -> str:
    """Return a stored secret; an `Unreadable` when none of the keys opens it."""
    if not stored:
        return ""
    if not stored.startswith(_MARK):
        return stored  # written before secrets were encrypted
    try:
        return _keys(_texts()).decrypt(stored.removeprefix(_MARK).encode()).decode()
    except InvalidToken:
        log.error("A secret in the database cannot be opened; see SECRETS_KEYS.")
        return Unreadable(stored)


def encrypt_all() -> int:
    """Encrypt every secret of the database by the first key; return how many there are."""
    count = 0
    for model in apps.get_models():
        names = [f.name for f in model._meta.concrete_fields if isinstance(f, SealedField)]
        if not names:
            continue
        for row in model._base_manager.order_by("pk").iterator(chunk_size=500):
            held = {name: getattr(row, name) for name in names if getattr(row, name)}
            if held:
                # Nothing that people see changes: neither version nor audit moves.
                model._base_manager.filter(pk=row.pk).update(**held)
                count += len(held)
    return count


def _texts() -> tuple[str, ...]:
    return (*settings.SECRETS_KEYS, settings.SECRET_KEY)


@lru_cache(maxsize=8)
def _keys(texts: tuple[str, ...]) -> MultiFernet:
    return MultiFernet([Fernet(base64.urlsafe_b64encode(_derived(text))) for text in texts])


def _derived(text: str) -> bytes:
    return HKDF(SHA256(), 32, salt=None, info=b"secrets in the database").derive(text.encode())


class SealedField(models.TextField):
    """A text that is encrypted in the database and plain in Python; it cannot be searched."""

    def from_db_value(self, value: str | None, *_: Any) -> str | None:
        return None if value is None else unseal(value)

    def get_prep_value(self, value: Any) -> Any:
        if isinstance(value, Unreadable):
            return value.stored
        return None if value is None else seal(str(value))

    def get_lookup(self, lookup_name: str) -> Any:
        """Refuse what could only compare ciphertexts, which differ for the same secret."""
        if lookup_name not in ("isnull",):
            raise TypeError(f"{self.name} is encrypted; it cannot be looked for.")
        return super().get_lookup(lookup_name)
