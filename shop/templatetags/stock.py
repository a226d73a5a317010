"""Small helpers of the stock pages."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django import template

register = template.Library()


@register.filter
def lookup(found: Mapping[Any, Any], key: Any) -> Any:
    """Return what stands under a key, or nothing."""
    return found.get(key)
