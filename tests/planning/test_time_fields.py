"""No time in any call of the API without its bound."""

from datetime import UTC, datetime, timedelta
from decimal import Decimal
from pathlib import Path

import pytest
import time_machine
from drf_spectacular.generators import SchemaGenerator

from planning.batches.models import Batch, Lift
from planning.clocks.actions import start_clock
from planning.clocks.models import Cure, OvenStay
from planning.clocks.ovens import into_oven
from planning.deliveries.models import DeliveryNote
from planning.pours.models import PourStep
from shared.access.models import AccessToken
from shared.hooks.models import Endpoint
from shop.models import Container, Location, Mixer, Outage, PurchaseOrder, StorageSpell
from tests.callers import caller, make_user
from tests.factories.purchasing import make_order
from tests.planning.conftest import MONDAY

HOUR, DAY = timedelta(hours=1), timedelta(days=1)
NOW = MONDAY + timedelta(days=2)

OWN_ORDER = {
    "access-tokens expires_at": "shared/test_tokens.py::test_a_token_makes_none_wider_than_itself",
    "access-tokens/{id} expires_at": "shared/test_tokens.py::"
    "test_a_token_is_only_ever_made_narrower",
    "webhook-endpoints/{id}/replays since": "shared/hooks/test_hooks.py::"
    "test_replay_sends_again_with_the_same_ids_in_order",
    "batches/{id}/entries at": "planning/weigh_in/test_actions.py::"
    "test_nothing_is_poured_before_its_first_contact",
    "batches/{id}/weighings at": "planning/weigh_in/test_actions.py::"
    "test_nothing_is_weighed_from_a_container_before_it_came_in",
    "containers/{id}/openings at": "shop/lots/test_views.py::"
    "test_a_container_is_not_opened_before_it_came_in",
    "cures/{id}/peaks at": "planning/clocks/test_peaks.py::"
    "test_who_saw_it_pass_says_so_by_page_or_rest",
    "delivery-notes at": "planning/deliveries/test_deliveries.py::"
    "test_nothing_leaves_before_it_is_off_or_comes_back_before_it_left",
    "delivery-notes/{id}/returns at": "planning/deliveries/test_deliveries.py::"
    "test_nothing_leaves_before_it_is_off_or_comes_back_before_it_left",
    "demouldings at": "planning/cures/test_actions.py::"
    "test_nothing_is_demoulded_before_its_last_lift_was_poured",
    "outages starts_at": "a time out of use follows nothing",
    "outages ends_at": "held by a constraint of its table: after starts_at",
    "outages/{id} starts_at": "as when it is entered",
    "outages/{id} ends_at": "as when it is entered",
    "shop-changes starts_at": "planning/shop_changes/test_report.py::"
    "test_what_makes_no_sense_is_refused_by_its_field",
    "shop-changes ends_at": "planning/shop_changes/test_report.py::"
    "test_what_is_over_or_years_ahead_is_refused",
    "movements happened_at": "shop/ledger/test_actions.py::"
    "test_nothing_happens_to_a_container_before_it_came_in",
    "oven-stays at": "planning/clocks/test_ovens.py::"
    "test_a_casting_goes_in_after_it_was_poured_and_comes_out_after_it_went_in",
    "oven-stays/{id}/outs at": "planning/clocks/test_ovens.py::"
    "test_a_casting_goes_in_after_it_was_poured_and_comes_out_after_it_went_in",
    "purchase-orders/{id}/receipts received_at": "shop/purchasing/test_views.py::"
    "test_goods_do_not_come_before_they_were_ordered",
    "receipts received_at": "a delivery follows nothing that is on record",
    "steps/{id}/signatures at": "planning/pours/test_steps.py::"
    "test_a_step_is_signed_between_those_before_and_after_it",
    "storage-spells starts_at": "a stretch of time on a shelf follows nothing",
    "storage-spells ends_at": "held by a constraint of its table: after starts_at",
    "storage-spells/{id} starts_at": "as when it is entered",
    "storage-spells/{id} ends_at": "as when it is entered",
    "temperatures at": "planning/cures/test_actions.py::"
    "test_a_casting_has_no_temperature_of_its_own_before_it_is_mixed",
    "temperatures/bulk items/0/at": "the same action as for one temperature",
    "waste-entries at": "waste follows nothing that must be on record",
    "tool-events at": "shop/tools/test_times.py::test_no_shot_is_run_before_the_tool_is_demoulded",
}
"""Every time that a caller may give, and the test that it keeps its place among others."""


AHEAD = ("access-tokens", "access-tokens/{id}", "outages", "outages/{id}", "shop-changes")
"""Here a time may lie ahead: what will be out of use, or no longer good."""


def moments(schema, schemas, path=""):
    """Yield the paths of all date-times that a body may hold."""
    if "$ref" in schema:
        schema = schemas[schema["$ref"].rsplit("/", 1)[-1]]
    if schema.get("readOnly"):
        return
    if schema.get("format") == "date-time":
        yield path
    for key in ("oneOf", "anyOf", "allOf"):
        for member in schema.get(key, ()):
            yield from moments(member, schemas, path)
    for name, member in schema.get("properties", {}).items():
        yield from moments(member, schemas, f"{path}/{name}")
    if "items" in schema:
        yield from moments(schema["items"], schemas, f"{path}/0")


def time_fields():
    """Return method, path, content type and pointer of every time in a body of the API."""
    description = SchemaGenerator().get_schema(public=True)
    schemas = description["components"]["schemas"]
    return [
        (method, path, kind, pointer)
        for path, operations in description["paths"].items()
        for method, operation in operations.items()
        if method in ("post", "put", "patch")
        for kind, content in operation.get("requestBody", {}).get("content", {}).items()
        for pointer in moments(content["schema"], schemas)
    ]


FIELDS = time_fields()


def body_with(pointer, value):
    """Return a body that holds nothing but one value."""
    first, *others = pointer.removeprefix("/").split("/", 1)
    inner = body_with(others[0], value) if others else value
    return [inner] if first.isdigit() else {first: inner}


ROWS = {
    "access-tokens": AccessToken,
    "batches": Batch,
    "containers": Container,
    "cures": Cure,
    "delivery-notes": DeliveryNote,
    "outages": Outage,
    "oven-stays": OvenStay,
    "purchase-orders": PurchaseOrder,
    "steps": PourStep,
    "storage-spells": StorageSpell,
    "webhook-endpoints": Endpoint,
}
"""What the addresses with an id are about."""


@pytest.fixture
def admin(planned, shop_site):
    """An administrator of a shop that has a row of everything a time is given for."""
    planned()
    lift = Lift.objects.get()
    start_clock(lift=lift, poured_at=lift.planned_end)
    into_oven(
        pour=lift.pour, set_c=Decimal(40), at=lift.planned_end, now=lift.planned_end, key="stay"
    )
    make_order(shop_site)
    Endpoint.objects.create(
        site=shop_site, name="other", url="https://hooks.example/", made_at=NOW
    )
    DeliveryNote.objects.create(
        site=shop_site, key="other", at=NOW, recorded_at=NOW, recipient="X", address="Y"
    )
    StorageSpell.objects.create(
        location=Location.objects.filter(site=shop_site).first(), starts_at=NOW - 2 * HOUR,
        ends_at=NOW - HOUR, lowest_c=10, mean_c=20, highest_c=30,
    )  # fmt: skip
    Outage.objects.create(
        site=shop_site, mixer=Mixer.objects.first(), starts_at=NOW, ends_at=NOW + HOUR
    )
    return caller(make_user("administrator", shop_site), [shop_site])


@pytest.mark.parametrize(("method", "path", "kind", "pointer"), FIELDS)
def test_no_field_of_any_call_takes_what_cannot_have_happened(admin, method, path, kind, pointer):
    ahead = path.removeprefix("/api/v1/") in AHEAD
    if "{id}" in path:
        row = ROWS[path.split("/")[3]].objects.first()
        path = path.replace("{id}", str(row.pk))
    far = "too_far" if ahead else "in_future"
    for given, code in (
        (NOW + (2000 * DAY if ahead else HOUR), far),
        (datetime(9999, 12, 31, 23, tzinfo=UTC), far),
        (datetime(1, 1, 1, tzinfo=UTC), "too_long_ago"),
    ):
        body = body_with(pointer, given.isoformat().replace("+00:00", "Z"))
        with time_machine.travel(NOW, tick=False):
            answer = getattr(admin, method)(
                path, body, content_type=kind, headers={"If-Match": "*"}
            )
        assert answer.status_code == 422, answer.content
        found = {e["pointer"]: e["code"] for e in answer.json()["errors"]}
        assert found.get(f"#{pointer}") == code, found


def test_every_time_field_has_its_place_among_others_tested():
    named = {
        f"{path.removeprefix('/api/v1/')} {pointer.removeprefix('/')}"
        for _, path, _, pointer in FIELDS
    }
    assert named == set(OWN_ORDER)
    root = Path(__file__).parents[1]
    for words in OWN_ORDER.values():
        file, test = words.split("::") if "::" in words else ("", "")
        assert not file or f"def {test}(" in (root / file).read_text(encoding="utf-8"), words
