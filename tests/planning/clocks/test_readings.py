"""Temperatures in doubt: asked about before they count, and taken back when they were wrong."""

from datetime import timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest
import time_machine

from planning.batches.models import Batch, Lift
from planning.clocks import actions
from planning.clocks.asking import look
from planning.clocks.models import Cure, TemperatureReading
from planning.core.casting.plausible import Near, from_fahrenheit, question
from shared.errors import Invalid
from shop.models import ResinSystem
from tests.callers import caller, make_user

TIMES = ("peak_due_at", "next_opens_at", "next_closes_at", "cured_due_at", "demould_due_at")


@pytest.fixture
def cure(planned):
    planned()
    return actions.start_clock(
        lift=Lift.objects.get(), poured_at=Batch.objects.get().planned_pour_end
    )


@pytest.fixture
def tech(cure):
    site = cure.lift.pour.order.site
    return caller(make_user("technician", site), [site])


@pytest.fixture
def later(cure):
    with time_machine.travel(cure.poured_at + timedelta(hours=1), tick=False) as clock:
        yield clock


def times(cure):
    row = Cure.objects.get(pk=cure.pk)
    return tuple(getattr(row, name) for name in TIMES)


@pytest.mark.parametrize(
    ("celsius", "where", "asked"),
    [
        (22, "air", None),
        (12, "air", None),
        (77, "air", "usually 5 to 40"),
        (60, "air", "usually 5 to 40"),
        (-5, "air", "usually 5 to 40"),
        (38, "air", "22 °C is expected"),
        (60, "core", None),
        (95, "core", "may get 80 °C"),
        (3, "core", "usually 5 to 150"),
        (9, "surface", "this casting has 9.0"),
        (200, "oven", "usually 20 to 180"),
        (80, "oven", None),
    ],
)
def test_what_is_odd_is_asked_about(celsius, where, asked):
    words = question(celsius, where, expected_c=22.0, cap_c=80.0)
    assert words is None if asked is None else asked in words


def test_every_room_in_fahrenheit_is_asked_about():
    """No room of 15 to 30 °C, typed in °F as if it were °C, passes without a question."""
    for fahrenheit in range(59, 87):
        words = question(float(fahrenheit), "air", expected_c=22.0)
        assert words is not None
        assert f"would be {from_fahrenheit(fahrenheit):.1f} °C" in words
    assert from_fahrenheit(77.0) == pytest.approx(25.0)
    assert from_fahrenheit(-40.0) == pytest.approx(-40.0)


@pytest.mark.parametrize(("hours", "asked"), [(0.1, True), (1.0, True), (6.0, False)])
def test_a_jump_is_asked_about_the_sooner_the_shorter_it_took(hours, asked):
    words = question(30.0, "air", expected_c=22.0, near=[Near(hours, 18.0)])
    assert (words is not None) == asked


def post(tech, **body):
    return tech.post("/api/v1/temperatures", {"site": "DEMO", **body}, format="json")


def test_77_typed_for_fahrenheit_opens_nothing_until_it_is_confirmed(cure, tech, later):
    before, at = times(cure), cure.poured_at.isoformat()
    refused = post(tech, at=at, celsius="77")
    assert refused.status_code == 422
    (error,) = refused.json()["errors"]
    assert (error["pointer"], error["code"]) == ("#/celsius", "implausible")
    assert "77 °F would be 25.0 °C" in error["detail"]
    assert times(cure) == before
    given = post(tech, at=at, fahrenheit="77")
    assert given.status_code == 201, given.json()
    assert (given.json()["celsius"], given.json()["fahrenheit"]) == ("25.0", "77.0")
    really = post(tech, at=at, celsius="41.0", confirmed=True)
    assert really.status_code == 201
    assert TemperatureReading.objects.get(celsius=41).confirmed_at is not None


def test_a_computed_system_without_a_peak_limit_is_asked_about_by_the_usual_one(cure, tech, later):
    system = ResinSystem.objects.get(pk=cure.lift.pour.system_id)
    computed = ResinSystem.objects.get(code="T").kinetics
    hot = {"at": cure.poured_at.isoformat(), "celsius": "95", "where": "core",
           "pour": str(cure.lift.pour_id)}  # fmt: skip
    ResinSystem.objects.filter(pk=system.pk).update(cap_c=None, kinetics=computed)
    (error,) = post(tech, **hot).json()["errors"]
    assert error["code"] == "implausible"
    assert "A casting of this system may get 80 °C; this is 95.0 °C." in error["detail"]
    ResinSystem.objects.filter(pk=system.pk).update(cap_c=None, kinetics=None)
    assert post(tech, **hot).status_code == 201, "of such a one nobody knows"


def test_one_temperature_in_one_unit(cure, tech, later):
    at = cure.poured_at.isoformat()
    assert post(tech, at=at).status_code == 422
    assert post(tech, at=at, celsius="20", fahrenheit="68").status_code == 422


@pytest.mark.parametrize("body", [{"celsius": "301"}, {"celsius": "-31"}, {"fahrenheit": "900"}])
def test_what_no_sensor_shows_is_refused_even_if_confirmed(cure, tech, later, body):
    refused = post(tech, at=cure.poured_at.isoformat(), confirmed=True, **body)
    assert refused.status_code == 422
    (error,) = refused.json()["errors"]
    assert (error["pointer"], error["code"]) == (f"#/{next(iter(body))}", "out_of_range")
    assert not TemperatureReading.objects.exists()


def test_of_many_the_odd_one_is_named(cure, tech, later):
    at = cure.poured_at.isoformat()
    items = [{"site": "DEMO", "at": at, "celsius": c} for c in ("21.0", "80.0", "21.5")]
    refused = tech.post("/api/v1/temperatures/bulk", {"items": items}, format="json")
    assert [e["pointer"] for e in refused.json()["errors"]] == ["#/items/1/celsius"]
    assert not TemperatureReading.objects.exists()


def test_a_reading_marked_wrong_stays_to_be_seen_and_no_longer_counts(cure, tech, later):
    look(cure, cure.poured_at + timedelta(hours=1))
    before = times(cure)
    for minutes in range(0, 60, 10):
        at = (cure.poured_at + timedelta(minutes=minutes)).isoformat()
        assert post(tech, at=at, celsius="8", confirmed=True).status_code == 201
    assert times(cure) != before
    rows = list(TemperatureReading.objects.all())
    for row in rows:
        address = f"/api/v1/temperatures/{row.pk}/withdrawals"
        assert tech.post(address, {"reason": ""}, format="json").status_code == 422
        marked = tech.post(address, {"reason": "sensor in the fridge"}, format="json")
        assert marked.status_code == 201, marked.json()
        assert marked.json()["wrong"] == "sensor in the fridge"
    assert times(cure) == before
    listed = tech.get("/api/v1/temperatures").json()["items"]
    assert {one["wrong"] for one in listed} == {"sensor in the fridge"}
    assert len(listed) == len(rows)
    assert rows[0].wrong.by.username.startswith("technician")


def test_a_peak_seen_only_by_a_wrong_reading_is_taken_back(cure):
    pour, site = cure.lift.pour, cure.lift.pour.order.site_id
    hot = {"where": "core", "pour": pour, "confirmed": True}
    at = cure.poured_at
    rows = [
        {"key": f"t{n}", "at": at + timedelta(minutes=5 * n), "celsius": Decimal(c), **hot}
        for n, c in enumerate((28, 55, 52, 50, 48))
    ]
    now = at + timedelta(minutes=21)
    kept = actions.log_temperatures(site_id=site, rows=rows, now=now)
    assert Cure.objects.get().peak_passed_at is not None
    actions.mark_wrong(reading=kept[2], reason="sensor fell out", now=now)
    assert Cure.objects.get().peak_passed_at is None
    with pytest.raises(Invalid):
        actions.mark_wrong(reading=kept[1], reason=" ", now=now)


def test_the_page_asks_and_takes_yes_really(cure, client, later):
    site = cure.lift.pour.order.site
    client.force_login(
        make_user("technician", site), backend="django.contrib.auth.backends.ModelBackend"
    )
    pour = f"/pours/{cure.lift.pour_id}/"
    odd = {"where": "air", "degrees": "77", "unit": "celsius", "at": ""}
    asked = client.post(f"{pour}temperature/", odd)
    assert asked.status_code == 422
    assert "Yes, really 77 °C" in asked.content.decode()
    assert not TemperatureReading.objects.exists()
    assert client.post(f"{pour}temperature/", {**odd, "confirmed": "on"}).status_code == 302
    reading = TemperatureReading.objects.get()
    wrong = client.post(
        f"{pour}temperature/{reading.pk}/wrong/", {"reason": "typed in °F"}, follow=True
    )
    assert "typed in °F" in wrong.content.decode()
    earlier = (cure.poured_at + timedelta(minutes=20)).astimezone(ZoneInfo(site.time_zone))
    right = {"where": "air", "degrees": "77", "unit": "fahrenheit",
             "at": f"{earlier:%Y-%m-%dT%H:%M}"}  # fmt: skip
    assert client.post(f"{pour}temperature/", right).status_code == 302
    kept = TemperatureReading.objects.latest("pk")
    assert (kept.celsius, kept.fahrenheit, kept.at) == (25, 77, earlier)
    ahead = {**right, "at": "2026-12-24T18:00"}
    assert (
        "must not be in the future" in client.post(f"{pour}temperature/", ahead).content.decode()
    )
