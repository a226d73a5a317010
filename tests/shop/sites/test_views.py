import pytest

from tests.factories.shop import make_location, make_person

pytestmark = pytest.mark.django_db


def test_a_person_with_shifts_and_a_day_off(api, site):
    client = api("administrator")
    made = client.post("/api/v1/people", {"code": "P1", "name": "Ann", "skills": ["mixing"]})
    assert made.status_code == 201, made.data
    assert made.data["site"] == "main"
    shift = {"person": made.data["id"], "weekday": 1, "starts": "07:00", "ends": "12:00"}
    assert client.post("/api/v1/shifts", shift).status_code == 201
    wrong = client.post("/api/v1/shifts", shift | {"ends": "06:00"})
    assert wrong.status_code == 422
    assert "end later than it starts" in wrong.data["detail"]
    away = {"person": made.data["id"], "day": "2026-12-01"}
    assert client.post("/api/v1/day-changes", away).status_code == 201
    shown = client.get(f"/api/v1/people/{made.data['id']}").data
    assert [s["weekday"] for s in shown["shifts"]] == [1]


@pytest.mark.parametrize(
    ("address", "body", "words"),
    [
        ("mixers", {"largest_kg": "5", "least_kg": "6"}, "largest_kg must be above least_kg"),
        ("mixers", {"largest_kg": "0"}, "must be above 0"),
        ("scales", {"capacity_kg": "6", "readability_g": "0"}, "must be above 0"),
        ("places", {"kind": "shelf"}, "is not one of: bench, oven, floor"),
        ("places", {"capacity": 0}, "greater than or equal to 1"),
        ("locations", {"lowest_c": "30"}, "highest_c must not be below lowest_c"),
    ],
)
def test_things_that_make_no_sense_are_refused(api, address, body, words):
    answer = api().post(f"/api/v1/{address}", {"code": "X", "name": "X", **body})
    assert answer.status_code == 422
    assert words in answer.data["detail"]


def test_a_code_is_used_once_at_a_site(api, site, other_site):
    make_location(site, code="A1")
    body = {"code": "A1", "name": "Shelf"}
    assert api().post("/api/v1/locations", body).status_code == 422
    assert api(at=other_site).post("/api/v1/locations", body).status_code == 201


def test_another_sites_people_do_not_exist(api, site, other_site):
    stranger = make_person(other_site)
    client = api("administrator")
    assert client.get(f"/api/v1/people/{stranger.pk}").status_code == 404
    assert client.get("/api/v1/people").data["items"] == []
    shift = {"person": str(stranger.pk), "weekday": 1, "starts": "07:00", "ends": "12:00"}
    assert client.post("/api/v1/shifts", shift).status_code == 422


def test_a_day_that_does_not_exist_is_refused(api, site):
    answer = api().post("/api/v1/closed-days", {"day": "2027-02-30", "reason": "holiday"})
    assert answer.status_code == 422
    [error] = answer.data["errors"]
    assert (error["pointer"], error["value"]) == ("#/day", "2027-02-30")
    assert "names a day that does not exist" in error["detail"]
