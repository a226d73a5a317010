"""Lists of the ledger and of tools take as many queries for many rows as for few."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from shop.ledger.models import Reservation
from shop.tools.models import ToolEvent
from tests.conftest import make_user
from tests.factories.purchasing import make_need
from tests.factories.shop import NOW, make_container, make_lot, make_material, make_tool

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen")]


def tool_event(site, n):
    ToolEvent.objects.create(
        tool=make_tool(site), key=f"e{n}", kind="note", at=NOW, by=make_user("technician", site)
    )


def requirement(site, n):
    make_need(site, make_material(), 3, 1)


def reservation(site, n):
    Reservation.objects.create(
        container=make_container(make_lot(site, make_material()), holds=5),
        purpose=f"batch:{n}:1",
        quantity=Decimal(1),
        needed_at=NOW + timedelta(days=2),
        created_at=NOW,
    )


@pytest.mark.parametrize(
    ("address", "make"),
    [
        ("tool-events", tool_event),
        ("requirements", requirement),
        ("reservations", reservation),
    ],
)
def test_a_list_takes_a_constant_number_of_queries(api, site, address, make):
    client = api("planner")

    def queries(rows):
        with CaptureQueriesContext(connection) as seen:
            answer = client.get(f"/api/v1/{address}")
        assert len(answer.json()["items"]) == rows, answer.content
        return len(seen)

    make(site, 0)
    queries(1)  # the first call of a test also reads who is calling
    few = queries(1)
    for n in range(1, 12):
        make(site, n)
    assert queries(12) == few <= 8
