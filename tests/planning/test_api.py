"""The planning side over REST: what it takes, what it refuses and how it says so."""

from __future__ import annotations

import pytest

from planning.batches.models import Batch
from planning.pours.models import Pour, ToolOrder
from shop import stores
from tests.conftest import caller, make_user


@pytest.fixture
def planner(shop_site):
    return caller(make_user("planner", shop_site), [shop_site])


@pytest.fixture
def technician(shop_site):
    return caller(make_user("technician", shop_site), [shop_site])


@pytest.fixture
def order_body(shop_site):
    def make(**changes):
        pour = {
            "system": str(stores.system_by_code("T").id),
            "length_mm": "300",
            "width_mm": "200",
            "depth_mm": "60",
            "tool_side": "board",
            "release_recipe": str(stores.recipe_by_code("WAX5").id),
        }
        pour.update(changes.pop("pour", {}))
        return {
            "tool_code": "API-1",
            "route": "single",
            "due_on": "2026-12-10",
            "pours": [pour],
            **changes,
        }

    return make


def problems(response):
    return {row["pointer"]: row["detail"] for row in response.json()["errors"]}


def test_an_order_is_taken_in_with_its_mass_worked_out(planner, order_body):
    response = planner.post("/api/v1/tool-orders", order_body())
    assert response.status_code == 201, response.json()
    (pour,) = response.json()["pours"]
    assert pour["volume_l"] == "3.6000"
    assert pour["mass_kg"] == "6.1200"
    assert response.json()["number"].startswith("T")


@pytest.mark.parametrize(
    ("pour", "field", "words"),
    [
        ({"depth_mm": "-60"}, "depth_mm", "depth_mm is -60 mm; it must be above 0"),
        ({"pattern_l": "9", "pattern_height_mm": "50"}, "pattern_l", "pattern_l is 9 L"),
        ({"pattern_l": "1", "pattern_height_mm": "90"}, "pattern_height_mm", "60 mm"),
        ({"system": "999"}, "system", "not the id of anything"),
        ({"depth_mm": "sixty"}, "depth_mm", "decimal"),
        ({"depht_mm": "60"}, "depht_mm", "not a field here"),
    ],
)
def test_a_bad_pour_is_pointed_at_and_nothing_is_stored(planner, order_body, pour, field, words):
    response = planner.post("/api/v1/tool-orders", order_body(pour=pour))
    assert response.status_code == 422, response.json()
    assert words in problems(response)[f"#/pours/0/{field}"]
    assert not ToolOrder.objects.exists()


@pytest.mark.parametrize(
    ("changes", "field", "words"),
    [
        ({"due_on": "2026-02-30"}, "due_on", "does not exist"),
        ({"route": "none"}, "route", "known: matched, single"),
        ({"earliest_on": "2026-12-12"}, "due_on", "must not be before earliest_on"),
        ({"route": "matched"}, "pours", "casts A and B"),
    ],
)
def test_a_bad_order_names_field_and_limit(planner, order_body, changes, field, words):
    response = planner.post("/api/v1/tool-orders", order_body(**changes))
    assert response.status_code == 422, response.json()
    assert words in problems(response)[f"#/{field}"]


def test_many_orders_are_taken_in_all_or_none(planner, order_body):
    items = [order_body(tool_code=f"API-{n}", number=f"N-{n}") for n in range(3)]
    items[1]["pours"][0]["depth_mm"] = "0"
    response = planner.post("/api/v1/tool-orders/bulk", {"items": items})
    assert list(problems(response)) == ["#/items/1/pours/0/depth_mm"]
    assert not ToolOrder.objects.exists()


def test_a_pour_is_changed_with_its_tag_and_worked_out_again(planner, order_body):
    pour = planner.post("/api/v1/tool-orders", order_body()).json()["pours"][0]
    stale = planner.patch(f"/api/v1/pours/{pour['id']}", {"depth_mm": "30"}, etag='"0-0"')
    assert stale.status_code == 412
    changed = planner.patch(f"/api/v1/pours/{pour['id']}", {"depth_mm": "30"}, etag=pour["etag"])
    assert changed.status_code == 200, changed.json()
    assert changed.json()["mass_kg"] == "3.0600"


def test_a_cancelled_order_asks_for_no_material(planner, order_body):
    order = planner.post("/api/v1/tool-orders", order_body()).json()
    from shop.models import Requirement

    assert Requirement.objects.count() == 2
    response = planner.post(f"/api/v1/tool-orders/{order['id']}/cancellations", {})
    assert response.json()["status"] == "cancelled"
    assert not Requirement.objects.exists()
    assert Pour.objects.get().status == "cancelled"


def test_a_technician_may_not_take_orders(technician, order_body):
    assert technician.post("/api/v1/tool-orders", order_body()).status_code == 403


def test_a_week_that_does_not_exist_is_refused(planner):
    response = planner.post("/api/v1/plans", {"week": "2027-W53"})
    assert response.status_code == 422
    assert "ISO week that exists" in problems(response)["#/week"]


def test_settings_that_make_no_sense_are_refused(planner):
    body = {"week": "2026-W49", "settings": {"pot_life_factor": 1.5}}
    response = planner.post("/api/v1/plans", body)
    assert "pot_life_factor is 1.5" in problems(response)["#/settings"]


def test_a_row_of_another_batch_cannot_be_weighed_here(planned, take, technician):
    planned(take("T-1"), take("T-2", system="T"))
    first, second = Batch.objects.order_by("id")[:2]
    body = {"line": str(second.lines.first().pk), "weighed_kg": "0.5"}
    response = technician.post(f"/api/v1/batches/{first.pk}/weighings", body)
    assert "not a row of batch" in problems(response)["#/line"]


def test_hardener_offered_as_resin_is_stopped(planned, technician):
    planned()
    batch = Batch.objects.get()
    resin, hardener = (batch.lines.get(role=role) for role in ("resin", "hardener"))
    body = {
        "line": str(resin.pk),
        "weighed_kg": "0.5",
        "container_code": hardener.container.code,
    }
    response = technician.post(f"/api/v1/batches/{batch.pk}/weighings", body)
    assert response.status_code == 409
    assert "the sheet asks for Quick casting resin Q" in response.json()["detail"]


def test_the_sheet_of_a_day_that_does_not_exist_is_not_found(technician):
    assert technician.get("/api/v1/sheets/2026-02-30").status_code == 404
    assert technician.get("/api/v1/sheets/2026-11-30").json()["batches"] == []


def test_temperatures_move_the_clock_and_come_back(planned, technician, now):
    from planning.batches.models import Lift
    from planning.clocks.actions import start_clock

    planned()
    cure = start_clock(lift=Lift.objects.get(), poured_at=now)
    body = {"at": "2026-11-30T04:30:00Z", "celsius": "15.0"}
    import time_machine

    with time_machine.travel("2026-11-30T05:00:00Z", tick=False):
        response = technician.post("/api/v1/temperatures", body)
        assert response.status_code == 201, response.json()
        moved = technician.get(f"/api/v1/cures/{cure.pk}").json()
    assert moved["cured_due_at"] > cure.cured_due_at.isoformat()
    assert moved["demould_due_at"] is None
    assert moved["waits_for"] == "cool_reading"
    assert not moved["may_demould"]


def test_a_step_of_a_route_is_of_half_a_unless_it_says_otherwise(planner):
    step = {"phase": "before", "name": "Wax", "hands_min": 5}
    body = {"code": "own", "name": "Own", "kind": "single", "steps": [step]}
    made = planner.post("/api/v1/routes", body)
    assert made.status_code == 201, made.json()
    assert made.json()["steps"][0]["half"] == "A"
    address = f"/api/v1/routes/{made.json()['id']}"
    changed = planner.patch(address, {"steps": [step, step | {"name": "Buff"}]}, etag="*")
    assert [(row["half"], row["name"]) for row in changed.json()["steps"]] == [
        ("A", "Wax"),
        ("A", "Buff"),
    ]
    short = planner.patch(address, {"steps": [{"phase": "before"}]}, etag="*")
    assert short.status_code == 422
    assert set(problems(short)) == {"#/steps/0/name", "#/steps/0/hands_min"}


def test_what_a_step_uses_up_names_materials_of_the_shop(planner):
    wax = {"material": "WAX", "quantity": "0.2", "per": "m2"}
    step = {"phase": "before", "name": "Wax", "hands_min": 5, "materials": [wax]}
    body = {"code": "own", "name": "Own", "kind": "single", "steps": [step]}
    made = planner.post("/api/v1/routes", body).json()
    assert made["steps"][0]["materials"] == [wax | {"quantity": "0.2000"}]
    address = f"/api/v1/routes/{made['id']}"
    for rows, place in (
        ([{"material": "WAXX", "quantity": "1"}], "material"),
        ([{"material": "WAX", "quantity": "0"}], "quantity"),
        ([wax, wax], "material"),
    ):
        refused = planner.patch(address, {"steps": [step | {"materials": rows}]}, etag="*")
        assert refused.status_code == 422
        (where,) = problems(refused)
        assert where == f"#/steps/0/materials/{len(rows) - 1}/{place}"
    assert planner.get(address).json()["steps"][0]["materials"][0]["material"] == "WAX"


def test_reading_many_steps_with_what_they_use_up_takes_no_more_queries(
    take, technician, django_assert_max_num_queries
):
    for number in range(4):
        take(f"T-{number}")
    with django_assert_max_num_queries(12):
        rows = technician.get("/api/v1/steps?limit=100").json()["items"]
    coats = [row["materials"] for row in rows if row["coat_number"]]
    assert len(coats) == 20
    assert {used["material"] for (used,) in coats} == {"WAX"}
