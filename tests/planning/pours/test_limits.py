"""What no shop casts is refused at every door, and what slipped in can still be read."""

from decimal import Decimal

import pytest
from django.db import DataError, IntegrityError, transaction

from planning.pours.models import Pour, ToolOrder
from tests.callers import caller, make_user

GIANT = {"length_mm": "9999", "width_mm": "9999", "depth_mm": "9999"}


def order_body(sizes, due_on="2026-12-04", **more):
    pour = {"system": None, **sizes, **more}
    return {"tool_code": "BIG", "route": "single", "due_on": due_on, "pours": [pour]}


@pytest.fixture
def system_id(shop_site):
    from shop.models import ResinSystem

    return str(ResinSystem.objects.get(code="T").pk)


@pytest.mark.parametrize(
    ("sizes", "due_on", "words"),
    [
        (GIANT, "2026-12-04", "at most 6000 mm"),
        ({"length_mm": "5999", "width_mm": "5999", "depth_mm": "5999"}, "2026-12-04", "20,000 kg"),
        ({"geometry": "volume", "stated_l": "999999", "depth_mm": "90"}, "2026-12-04", "20,000"),
        ({"length_mm": "90", "width_mm": "90", "depth_mm": "90"}, "2020-01-01", "check the year"),
    ],
)
def test_by_rest_it_is_refused_and_the_lists_stay_up(
    shop_site, system_id, frozen, sizes, due_on, words
):
    client = caller(make_user("administrator", shop_site), [shop_site])
    answer = client.post("/api/v1/tool-orders", order_body(sizes, due_on, system=system_id))
    assert answer.status_code == 422, answer.data
    assert words in str(answer.data)
    assert not ToolOrder.objects.filter(tool__code="BIG").exists()
    assert client.get("/api/v1/tool-orders").status_code == 200
    assert client.get("/api/v1/pours").status_code == 200


def test_the_database_keeps_no_figure_that_cannot_be_read(shop_site, system_id, frozen):
    small = {"length_mm": "90", "width_mm": "90", "depth_mm": "90"}
    body = order_body(small, system=system_id)
    made = caller(make_user("administrator", shop_site), [shop_site]).post(
        "/api/v1/tool-orders", body
    )
    assert made.status_code == 201, made.data
    rows = Pour.objects.filter(order=made.data["id"])
    for name in ("mass_kg", "volume_l"):
        # PostgreSQL refuses the digits before it comes to the constraint.
        with pytest.raises((IntegrityError, DataError)), transaction.atomic():
            rows.update(**{name: Decimal(1_000_000)})
