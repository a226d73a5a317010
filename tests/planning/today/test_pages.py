"""Pages of the day: who sees what, bad addresses named, writes by POST alone."""

from datetime import timedelta

import pytest
from django.test import Client

from planning.batch_sheets.queries import demoulds_of
from planning.batches.models import Batch
from planning.clocks.models import Cure
from planning.clocks.standing import running
from planning.cures.models import Demould
from planning.pours.models import PourStep, ToolOrder
from planning.schedule.models import WeekPlan
from planning.today import queries
from planning.weigh_in import actions as weigh_in
from shared.access.models import User
from tests.factories.clocks import ready
from tests.factories.floor import sign_off, weigh_all

pytestmark = pytest.mark.django_db


@pytest.fixture
def sign_in():
    def make(username):
        client = Client()
        client.force_login(
            User.objects.get(username=username),
            backend="django.contrib.auth.backends.ModelBackend",
        )
        return client

    return make


@pytest.fixture
def batch(planned):
    planned()
    return Batch.objects.get()


@pytest.fixture
def cast(batch):
    """The batch weighed, mixed and poured as planned."""
    weigh_all(batch)
    sign_off(batch)
    for kind, at in (("contact", batch.planned_contact), ("poured", batch.planned_pour_end)):
        weigh_in.record_entry(batch=batch, kind=kind, key=kind, at=at, now=at)
    return Cure.objects.get().lift.pour


def addresses(batch):
    pour = batch.portions.get().lift.pour_id
    return [
        "/today/?who=all",
        "/today/?day=2026-11-30&rest=1",
        "/week/2026-W49/",
        f"/batches/{batch.pk}/",
        f"/batches/{batch.pk}/state.json",
        f"/pours/{pour}/",
        "/sheets/2026-11-30/",
        "/sheets/2026-11-30.pdf",
        "/orders/",
    ]


@pytest.mark.parametrize("who", ["tess", "petra", "bruno", "karin", "quinn", "ada"])
def test_everybody_of_the_site_may_look(batch, sign_in, who):
    client = sign_in(who)
    for address in addresses(batch):
        assert client.get(address).status_code == 200, address


def test_a_stranger_is_led_to_the_door_and_another_site_sees_nothing(batch, sign_in):
    from tests.factories.shop import make_site, make_user

    for address in addresses(batch):
        assert Client().get(address).status_code == 302, address
    other = Client()
    other.force_login(
        make_user(make_site(), "administrator"),
        backend="django.contrib.auth.backends.ModelBackend",
    )
    pour = batch.portions.get().lift.pour_id
    for address in (f"/batches/{batch.pk}/", f"/batches/{batch.pk}/state.json", f"/pours/{pour}/"):
        assert other.get(address).status_code == 404, address
    assert other.post(f"/pours/{pour}/demould/").status_code == 404


def test_a_day_that_does_not_exist_is_named_and_today_shown(shop_site, sign_in):
    html = sign_in("tess").get("/today/?day=2026-02-30").content.decode()
    assert "2026-02-30" in html
    assert "which is no date" in html
    assert sign_in("tess").get("/sheets/2026-02-30/").status_code == 404


def test_a_week_that_does_not_exist_is_named(shop_site, sign_in):
    client = sign_in("petra")
    html = client.get("/week/?week=2026-W54", follow=True).content.decode()
    assert "2026-W54" in html
    assert "give an ISO week that exists" in html
    assert client.get("/week/2026-W54/").status_code == 404


def test_the_agenda_is_in_the_order_of_the_clock_and_marks_what_is_late(batch, shop_site):
    at = batch.planned_contact + timedelta(minutes=1)
    day = queries.day_of(shop_site, batch.planned_start.date(), None, at)
    times = [item["at"] for item in day["agenda"]]
    assert times == sorted(times)
    (late,) = [item for item in day["agenda"] if item["kind"] == "batch"]
    assert late["late"]
    assert not late["done"]


def test_the_hand_over_tells_what_to_do_next(cast, shop_site):
    cure = Cure.objects.get()
    (before,) = queries.curing(running(order__site=shop_site), cure.poured_at)
    assert (before["state"], before["next_at"]) == ("curing", cure.cured_due_at)
    assert not before["peak_passed"]
    (due,) = queries.curing(running(order__site=shop_site), cure.cured_due_at)
    assert (due["state"], due["words"]) == ("due", "Measure its face")
    at = ready(cast)
    (after,) = queries.curing(running(order__site=shop_site), at)
    assert (after["state"], after["words"]) == ("due", "May be demoulded")


def test_a_casting_whose_upper_lift_still_cures_is_not_told_as_ready(cast, shop_site):
    ready(cast)
    lower = Cure.objects.get()
    day = lower.demould_due_at.date()
    assert [row["pour_id"] for row in demoulds_of(shop_site, day)] == [cast.pk]
    lift, cure = lower.lift, Cure.objects.get()
    lift.pk, lift.number = None, 2
    lift.save()
    cure.pk, cure.lift = None, lift
    cure.demould_due_at = cure.looked_at = lower.demould_due_at + timedelta(days=2)
    cure.save()
    assert demoulds_of(shop_site, day, now=lower.demould_due_at + timedelta(hours=1)) == []
    (row,) = demoulds_of(shop_site, day + timedelta(days=2), now=cure.demould_due_at)
    assert (row["due_at"], row["ready"]) == (cure.demould_due_at, True)


def test_writes_need_a_post_and_the_role(batch, sign_in):
    step = PourStep.objects.order_by("planned_start").first()
    technician, purchasing = sign_in("tess"), sign_in("bruno")
    assert technician.get(f"/steps/{step.pk}/sign/").status_code == 405
    assert purchasing.post(f"/steps/{step.pk}/sign/").status_code == 403
    step.refresh_from_db()
    assert step.done_at is None
    answer = technician.post(f"/steps/{step.pk}/sign/", {"back": "//elsewhere.example/"})
    assert answer.headers["Location"] == "/today/"
    step.refresh_from_db()
    assert step.done_by.username == "tess"


def test_minutes_go_with_done_or_come_after_it_and_are_then_the_record(batch, sign_in):
    first, second = PourStep.objects.exclude(phase="after").order_by("planned_start")[:2]
    tess, timo = sign_in("tess"), sign_in("timo")
    tess.post(f"/steps/{first.pk}/sign/", {"took_min": "7"})
    tess.post(f"/steps/{second.pk}/sign/", {"took_min": "soon"})
    first.refresh_from_db()
    second.refresh_from_db()
    assert (first.took_min, second.took_min) == (7, None)
    assert second.done_at is not None
    field, day = f'id="minutes-{second.pk}"', "/today/?day=2026-11-30&who=all"
    assert field in tess.get(day).content.decode()
    assert field not in timo.get(day).content.decode()
    for given, words in (
        ("", "is empty; give whole minutes, 1 to 1440 min"),
        ("1.5", "is 1.5; give whole minutes"),
        ("0", "Hands-on time is 0 min; it must be 1 to 1440 min."),
        ("12", f"{second.name} of {second.pour} took 12 min."),
        ("13", "has 12 min written down"),
    ):
        page = tess.post(
            f"/steps/{second.pk}/minutes/", {"took_min": given, "back": day}, follow=True
        )
        assert words in page.content.decode(), given
    second.refresh_from_db()
    assert second.took_min == 12
    assert sign_in("bruno").post(f"/steps/{second.pk}/minutes/").status_code == 403


def test_measured_values_are_kept_beside_their_limits(batch, sign_in):
    step = PourStep.objects.exclude(phase="after").first()
    step.checks = [
        {"what": "Gap", "low": "0", "high": "0.5", "unit": "mm"},
        {"what": "No light shines through"},
    ]
    step.save()
    client, name = sign_in("tess"), f"step-{step.pk}"
    bad = client.post(f"/pour-steps/{step.pk}/sign/", {f"{name}-check_0": "wide"})
    assert bad.status_code == 422
    assert "Gap is wide; it must be a number in mm" in bad.content.decode()
    client.post(
        f"/pour-steps/{step.pk}/sign/",
        {f"{name}-check_0": "0.7", f"{name}-check_1": "on", f"{name}-took_min": "20"},
    )
    step.refresh_from_db()
    assert step.took_min == 20
    assert [(row["value"], row["within"]) for row in step.results] == [
        ("0.7", False),
        (True, True),
    ]


def test_demoulding_too_early_names_the_time_and_a_reason_lets_it_through(cast, sign_in):
    client = sign_in("tess")
    sent = {"key": "page:abcdefabcdef", "verdict": "accept", "hardness_shore_d": "182"}
    bad = client.post(f"/pours/{cast.pk}/demould/", sent)
    assert bad.status_code == 422
    assert "Hardness is 182 Shore D; it must be 0 to 100 Shore D." in bad.content.decode()
    sent["hardness_shore_d"] = "70"
    import time_machine

    with time_machine.travel(Cure.objects.get().poured_at + timedelta(hours=1)):
        client = sign_in("tess")
        early = client.post(f"/pours/{cast.pk}/demould/", sent)
        assert early.status_code == 422
        words = early.content.decode()
        assert "Leave it alone, or write down here why it comes off earlier." in words
        assert "UTC" not in words
        assert not Demould.objects.exists()
        sent["early_reason"] = "cast for a trial"
        assert client.post(f"/pours/{cast.pk}/demould/", sent).status_code == 302
        assert client.post(f"/pours/{cast.pk}/demould/", sent).status_code == 302
    assert Demould.objects.get().early_reason == "cast for a trial"


def test_printing_fixes_the_batches_and_a_look_does_not(batch, sign_in):
    client = sign_in("tess")
    client.get("/sheets/2026-11-30/")
    client.get("/sheets/2026-11-30.pdf")
    batch.refresh_from_db()
    assert batch.printed_at is None
    assert client.post("/sheets/2026-11-30/")["Location"] == "/sheets/2026-11-30.pdf"
    batch.refresh_from_db()
    assert batch.printed_at is not None


def test_a_file_with_a_bad_row_stores_nothing_and_names_it(shop_site, sign_in):
    from django.core.files.uploadedfile import SimpleUploadedFile

    head = "order,tool,route,due_on,system,depth_mm,length_mm,width_mm\n"
    good = "T-1,CUP,single,2026-12-04,Q,30,200,100\n"
    bad = "T-2,CAP,single,2026-02-30,Q,30,200,100\n"
    client = sign_in("petra")
    for text, stored in ((head + good + bad, 0), (head + good, 1)):
        file = SimpleUploadedFile("orders.csv", text.encode())
        answer = client.post("/orders/file/", {"file": file}, follow=True)
        assert ToolOrder.objects.count() == stored
        assert ("2026-02-30" in answer.content.decode()) == (stored == 0)


def test_a_plan_is_asked_for_by_the_planner_alone(shop_site, sign_in):
    assert sign_in("tess").post("/week/2026-W49/ask/").status_code == 403
    client = sign_in("petra")
    html = client.post("/week/2026-W49/ask/", {"seconds": "0.1"}, follow=True).content.decode()
    assert "seconds is 0.1 s; it must be 0.5 to 600 s." in html
    assert not WeekPlan.objects.exists()


def test_pages_ask_a_fixed_number_of_questions(
    planned, take, sign_in, django_assert_max_num_queries
):
    for n in range(1, 6):
        take(f"T-{n}", due_in_days=5)
    planned(True)
    client = sign_in("petra")
    for address, most in (("/today/?who=all", 45), ("/orders/", 20), ("/sheets/2026-11-30/", 30)):
        with django_assert_max_num_queries(most):
            assert client.get(address).status_code == 200
