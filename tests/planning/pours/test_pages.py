"""The page that takes an order in: what is wrong is named with field, value and unit."""

import pytest

from planning.pours.models import ToolOrder
from planning.routes.models import Route
from tests.conftest import make_user

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"a-depth_mm": "deep"}, "Depth of the casting is deep; it must be a number in mm"),
        ({"a-depth_mm": ""}, "Depth of the casting is empty; give it in mm."),
        ({"a-pattern_l": "1,2,3"}, "Volume of the pattern in the box is 1,2,3; it must be a"),
        ({"tool_code": ""}, "The tool&#x27;s code is empty; give one, such as CUP-7."),
    ],
)
def test_a_figure_that_is_none_is_named_with_its_unit(shop_site, client, changes, words):
    user = make_user("planner", shop_site)
    client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    good = {
        "tool_code": "CUP-7",
        "route": Route.objects.get(code="single").pk,
        "due_on": "2026-12-04",
        "priority": "1",
        "a-system_id": "",
        "a-geometry": "box",
        "a-depth_mm": "30,5",
        "a-length_mm": "200",
        "a-width_mm": "100",
        "a-tool_side": "board",
    }
    page = client.get("/orders/new/")
    good["a-system_id"] = page.context["half_a"].fields["system_id"].choices[0][0]
    bad = client.post("/orders/new/", {**good, **changes})
    assert bad.status_code == 422
    assert words in bad.content.decode()
    assert not ToolOrder.objects.exists()
    assert client.post("/orders/new/", good).status_code == 302
    assert str(ToolOrder.objects.get().pours.get().depth_mm) == "30.5"
