"""What the ledger means by `tool:7`: release coats, repairs, whatever went onto a tool itself."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from django.urls import reverse

from shop.page_forms import row_id
from shop.tools.models import Tool
from shop.trace.providers import Part, Use

TOOL = "tool:"
WITHDRAW = (
    "This belongs to an entry of a tool; withdraw that entry on the page of the tool, and what it "
    "took goes back into its can."
)


class ToolUses:
    """Material that went onto a tool and into no casting."""

    def uses(self, counterparts: Sequence[str]) -> Mapping[str, Use]:
        """Return what each tool is; one query for one or many."""
        ids = [row_id(text.removeprefix(TOOL)) for text in counterparts]
        rows = Tool.objects.filter(pk__in=[pk for pk in ids if pk is not None])
        return {f"{TOOL}{tool.pk}": _use(tool) for tool in rows}

    def counterparts_of(self, castings: Sequence[str]) -> Iterable[str]:
        """Return the tools themselves, which a tool's trace names beside its castings."""
        return [text for text in castings if text.startswith(TOOL)]

    def castings_of(self, tool_id: int) -> Iterable[str]:
        """Return nothing: castings are pours."""
        return ()


def _use(tool: Tool) -> Use:
    name = f"{TOOL}{tool.pk}"
    return Use(
        counterpart=name,
        label=f"Tool {tool.code}",
        url=reverse("tool", args=[tool.pk]),
        at=None,
        people=(),
        temperatures=(),
        parts=(Part(name, f"{tool.code}, the tool itself", tool.pk, None),),
        site_id=tool.site_id,
    )
