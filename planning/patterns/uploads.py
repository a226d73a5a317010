"""How large a pattern's file may be, on its page and in its call."""

from __future__ import annotations

from typing import Any

from planning.patterns.actions import COARSER, LARGEST_BYTES
from shared.api import uploads


class PatternFile(uploads.OneFile):
    """A form with one pattern."""

    largest_bytes = LARGEST_BYTES
    advice = COARSER


def check_length(request: Any) -> None:
    """Refuse a body that is too long before any of it is read."""
    uploads.check_length(request, LARGEST_BYTES, COARSER)
