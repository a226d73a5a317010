"""The forms of checklists of tools, and of reasons why tools are retired."""

from __future__ import annotations

from typing import Any

from shop.setup.register_form import CODE_HINT, RegisterForm
from shop.tools.inspection_models import Checkpoint, RetirementReason
from shop.tools.models import Tool, ToolFamily


class CheckpointForm(RegisterForm):
    """One line of a checklist, of a tool or of all tools of a family."""

    labels = {
        "name": "Look at",
        "tool": "Of the tool",
        "family": "Of all tools of the family",
        "unit": "Unit, where it is measured",
        "nominal": "Nominal value",
        "may_be_below": "May be below nominal by",
        "may_be_above": "May be above nominal by",
        "gauge_step": "Smallest step of the gauge",
    }
    hints = {
        "code": CODE_HINT,
        "tool": "Either a tool or a family.",
        "unit": "Such as mm or °C. Empty: it is answered by good or not good.",
        "gauge_step": "The spread of a trend is never taken below what such steps hide.",
    }

    class Meta:
        model = Checkpoint
        fields = [
            "name", "code", "tool", "family", "unit", "nominal", "may_be_below", "may_be_above",
            "gauge_step",
        ]  # fmt: skip

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name, model in (("tool", Tool), ("family", ToolFamily)):
            rows = model._default_manager.filter(site=self.site).order_by("code")
            self.fields[name].queryset = rows  # type: ignore[attr-defined]


class RetirementReasonForm(RegisterForm):
    """A reason of the shop's own."""

    labels = {"name": "Reason", "worn": "The end of a life by use"}
    hints = {
        "code": CODE_HINT,
        "worn": "Ticked: the tool counts as one that has failed where lives are estimated.",
    }

    class Meta:
        model = RetirementReason
        fields = ["name", "code", "worn"]
