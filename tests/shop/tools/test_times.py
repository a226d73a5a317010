"""When something may have happened to a tool."""

from datetime import timedelta

import pytest

from shared.errors import Invalid
from shop.tools.actions import add_event
from shop.tools.models import ToolHalf
from tests.factories.shop import NOW, make_tool

pytestmark = pytest.mark.django_db


def test_no_shot_is_run_before_the_tool_is_demoulded():
    tool = make_tool()
    ToolHalf.objects.create(tool=tool, half="A", verdict="accept", demoulded_at=NOW)
    early = NOW - timedelta(days=1)
    for kind, shots in (("shots", 5), ("coat", 0), ("inspection", 0)):
        with pytest.raises(Invalid, match="was demoulded"):
            add_event(tool_id=tool.pk, kind=kind, key=kind, at=early, shots=shots)
    assert add_event(tool_id=tool.pk, kind="note", key="n", at=early, words="drawing sent")
    assert add_event(tool_id=tool.pk, kind="shots", key="s", at=NOW, shots=5)
