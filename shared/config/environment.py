"""Reading settings from the environment, with a sentence when one is missing or wrong."""

from __future__ import annotations

import os
from pathlib import Path

from django.core.exceptions import ImproperlyConfigured

YES = {"1", "true", "yes", "on"}
NO = {"0", "false", "no", "off", ""}


def text(name: str, default: str | None = None, *, hint: str = "") -> str:
    """Return a setting, or say which one is missing and what it is for."""
    value = os.environ.get(name, default)
    if not value and default is None:
        raise ImproperlyConfigured(f"The environment variable {name} is not set. {hint}".strip())
    return value or ""


def words(name: str, default: str | None = None, *, hint: str = "") -> list[str]:
    """Return a comma-separated setting as a list."""
    return [word.strip() for word in text(name, default, hint=hint).split(",") if word.strip()]


def flag(name: str, default: bool = False) -> bool:
    """Return a yes-or-no setting."""
    value = os.environ.get(name, "1" if default else "0").strip().lower()
    if value in YES:
        return True
    if value in NO:
        return False
    raise ImproperlyConfigured(f"{name} is {value!r}; use 1 or 0.")


def number(name: str, default: int) -> int:
    """Return a whole-number setting."""
    value = os.environ.get(name, str(default))
    try:
        return int(value)
    except ValueError:
        raise ImproperlyConfigured(f"{name} is {value!r}; use a whole number.") from None


def folder(name: str, default: Path) -> Path:
    """Return a folder that exists from now on."""
    path = Path(os.environ.get(name) or default).resolve()
    path.mkdir(parents=True, exist_ok=True)
    return path
