"""Entity tags from a row's version, and If-Match: nobody overwrites what they have not seen."""

from __future__ import annotations

import re
from typing import Any

from django.db.models import Model

from shared.errors import ShopError

_TAG = re.compile(r'(W/)?"([\x21\x23-\x7e]*)"')


class PreconditionRequired(ShopError):
    """The caller did not say which version the change is meant for (RFC 6585, 428)."""

    def __init__(self) -> None:
        super().__init__(
            "Send If-Match with the ETag you read, so that nobody's change is lost.",
            "if_match_missing",
            428,
        )


class Stale(ShopError):
    """The row has another version by now (RFC 9110, 412)."""

    def __init__(self, current: str) -> None:
        super().__init__(
            f"It has changed since you read it; its tag is {current} now. Read it again.",
            "stale",
            412,
            current_etag=current,
        )


def etag(row: Model) -> str:
    """Return the strong tag of a row with a `version`."""
    return f'"{row.pk}-{row.version}"'  # type: ignore[attr-defined]


def strong_tags(header: str) -> set[str]:
    """
    Return the strong tags of an If-Match header.

    Strong comparison (RFC 9110, 8.8.3.2): a tag marked weak never matches.
    """
    return {f'"{tag}"' for weak, tag in _TAG.findall(header) if not weak}


def check(request: Any, row: Model) -> None:
    """
    Refuse unless If-Match names the row's present version.

    Call it inside the transaction of the change, on a row read under lock.

    Raises
    ------
    PreconditionRequired
        Without If-Match.
    Stale
        With another tag.
    """
    header = request.headers.get("If-Match")
    if not header:
        raise PreconditionRequired
    if header.strip() != "*" and etag(row) not in strong_tags(header):
        raise Stale(etag(row))
