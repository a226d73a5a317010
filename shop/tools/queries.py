"""Reading the register of tools."""

from __future__ import annotations

from dataclasses import fields

from shop.stores_types import ToolInfo
from shop.tools.models import Tool


def tool_info(tool: Tool) -> ToolInfo:
    """Return the plain form of a tool."""
    return ToolInfo(**{f.name: getattr(tool, f.name) for f in fields(ToolInfo)})
