"""Reminders at the border of the API: listed, taken up once, never another site's."""

import pytest

from planning.reminders import actions
from planning.reminders.models import ChannelChoice, Delivery, Reminder
from tests.callers import make_user
from tests.conftest import NOON

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen")]


def make_reminder(site, subject="cure:1", **values):
    usual = {"kind": "cure_complete", "title": "Tool 7", "due_at": NOON}
    return Reminder.objects.create(
        site=site,
        key=f"cure_complete:{subject}",
        subject=subject,
        created_at=NOON,
        changed_at=NOON,
        **usual | values,
    )


@pytest.fixture
def told(site):
    make_user("technician", site, "tech")
    reminder = make_reminder(site)
    actions.tell_due(NOON)
    reminder.refresh_from_db()
    return reminder


def test_reminders_of_the_callers_sites_are_listed(api, told, other_site):
    make_reminder(other_site, "cure:2")
    answer = api("technician").get("/api/v1/reminders?state=told")
    assert answer.status_code == 200
    (item,) = answer.json()["items"]
    assert item["id"] == str(told.pk)
    assert item["due_at"] == "2026-11-25T12:00:00Z"
    assert (item["sent"], item["failed"], item["confirmed_by"]) == (1, 1, "")


def test_unknown_filter_is_refused(api, told):
    answer = api("technician").get("/api/v1/reminders?status=told")
    assert answer.status_code == 400


def test_reminder_is_taken_up_once_and_a_repeat_tells_who_did(api, told):
    path = f"/api/v1/reminders/{told.pk}/confirmations"
    first = api("technician").post(path, {})
    again = api("planner").post(path, {})
    assert (first.status_code, again.status_code) == (201, 201)
    assert first.json()["state"] == "confirmed"
    assert again.json()["confirmed_by"] == first.json()["confirmed_by"] != ""


def test_reminder_not_yet_told_cannot_be_taken_up(api, site):
    later = make_reminder(site, due_at=NOON.replace(hour=18))
    answer = api("technician").post(f"/api/v1/reminders/{later.pk}/confirmations", {})
    assert answer.status_code == 409
    assert answer.json()["code"] == "not_told"


def test_another_sites_reminder_does_not_exist(api, told, other_site):
    answer = api("technician", at=other_site).get(f"/api/v1/reminders/{told.pk}")
    assert answer.status_code == 404


def test_integration_may_read_but_not_take_up(api, told):
    caller = api("integration")
    assert caller.get("/api/v1/reminders").status_code == 200
    answer = caller.post(f"/api/v1/reminders/{told.pk}/confirmations", {})
    assert answer.status_code == 403


def test_failed_message_is_listed_and_tried_again(api, told):
    caller = api("technician")
    (item,) = caller.get("/api/v1/reminder-deliveries?state=failed").json()["items"]
    assert item["error"] == "tech has no e-mail address."
    assert item["reminders"] == [str(told.pk)]
    path = f"/api/v1/reminder-deliveries/{item['id']}/replays"
    assert caller.post(path, {}).json()["state"] == "waiting"
    refused = caller.post(path, {})
    assert refused.status_code == 409
    assert Delivery.objects.get(pk=item["id"]).try_at == NOON


def test_own_channels_are_kept_and_listed_for_nobody_else(api, site):
    caller = api("technician")
    body = {"kind": "cure_complete", "channels": ["email", "webhook"]}
    assert caller.post("/api/v1/reminder-choices", body).status_code == 201
    changed = caller.post("/api/v1/reminder-choices", body | {"channels": []})
    row = changed.json()
    assert row == {"id": row["id"], "site": "main", "kind": "cure_complete", "channels": []}
    assert caller.get(changed["Location"]).json() == row
    assert caller.get("/api/v1/reminder-choices").json()["items"] == [changed.json()]
    assert api("technician").get("/api/v1/reminder-choices").json()["items"] == []
    assert ChannelChoice.objects.count() == 1


def test_unknown_channel_is_named_with_what_would_be_accepted(api):
    body = {"kind": "cure_complete", "channels": ["pigeon"]}
    answer = api("technician").post("/api/v1/reminder-choices", body)
    assert answer.status_code == 422
    (problem,) = answer.json()["errors"]
    assert problem["pointer"] == "#/channels/0"
    assert "today, email, webhook, calendar" in problem["detail"]


def my_settings(caller):
    (row,) = caller.get("/api/v1/reminder-settings").json()["items"]
    return row


def test_quiet_hours_are_kept_both_or_neither_and_only_the_callers_own(api):
    caller = api("technician")
    row = my_settings(caller)
    assert (row["quiet_from"], row["webhook_url"]) == (None, "")
    path = f"/api/v1/reminder-settings/{row['id']}"
    refused = caller.patch(path, {"quiet_from": "20:00"}, etag=row["etag"])
    assert refused.status_code == 422
    assert "give both or neither" in refused.json()["errors"][0]["detail"]
    empty = caller.patch(path, {"quiet_from": ""}, etag=row["etag"])
    assert empty.json()["errors"][0]["detail"].endswith("must be a time of day such as 06:30.")
    both = {"quiet_from": "20:00", "quiet_until": "06:30"}
    kept = caller.patch(path, both, etag=row["etag"])
    assert kept.status_code == 200, kept.content
    assert (kept.json()["quiet_from"], kept.json()["quiet_until"]) == ("20:00", "06:30")
    assert caller.patch(path, both, etag=row["etag"]).status_code == 412
    assert api("planner").get(path).status_code == 404


def test_a_webhooks_secret_is_answered_once_and_a_bad_address_changes_nothing(api):
    caller = api("technician")
    row = my_settings(caller)
    path = f"/api/v1/reminder-settings/{row['id']}"
    bad = {"quiet_from": "20:00", "quiet_until": "06:30", "webhook_url": "ftp://example.org/x"}
    assert caller.patch(path, bad, etag=row["etag"]).status_code == 422
    assert my_settings(caller) == row
    good = {"webhook_url": "https://93.184.215.14/hook"}
    kept = caller.patch(path, good, etag=row["etag"])
    assert kept.status_code == 200, kept.content
    assert len(kept.json()["webhook_secret"]) > 30
    assert "webhook_secret" not in my_settings(caller)
    off = caller.patch(path, {"webhook_url": ""}, etag=kept.json()["etag"])
    assert (off.json()["webhook_url"], off.json()["webhook_secret"]) == ("", "")
