"""Reminders by webhook: one id however often, switched off when unwanted."""

import json
from datetime import timedelta

import pytest

from planning.reminders import actions
from planning.reminders.models import Delivery, ReminderSettings
from planning.reminders.sweep import sweep
from tests.planning.reminders.castings import NOW, make_cure, make_pour, make_shop

pytest_plugins = ["tests.shared.receiver"]


@pytest.fixture
def hooked_cure(db, receiver):
    """Return a cure complete now whose technician is told by webhook alone."""
    site = make_shop(time_zone="UTC")
    user = site.memberships.get(role="technician").user
    actions.set_webhook(user=user, url=receiver.url)
    actions.choose_channels(user=user, site=site, kind="cure_complete", channels=["webhook"])
    return make_cure(make_pour(site), peak_passed_at=NOW - timedelta(hours=20))


def test_reminder_posted_twice_bears_one_id_and_says_so(hooked_cure, receiver):
    sweep(lambda: NOW)
    Delivery.objects.update(state="sending", claimed_by="dead", lease_until=NOW, sent_at=None)
    sweep(lambda: NOW + timedelta(minutes=3))
    first, second = receiver.received
    assert first[0]["webhook-id"] == second[0]["webhook-id"]
    assert [json.loads(body)["data"]["sent_again"] for _, body in receiver.received] == [
        False,
        True,
    ]
    assert len(second[1].encode()) < 20_000


def test_receiver_that_wants_no_more_is_switched_off(hooked_cure, receiver):
    receiver.status = 410
    sweep(lambda: NOW)
    own = ReminderSettings.objects.get(webhook_off__contains="410")
    assert own.webhook_url == receiver.url
    assert Delivery.objects.get().state == "failed"


def test_new_webhook_address_brings_a_new_secret_and_switches_on_again(hooked_cure, receiver):
    before = ReminderSettings.objects.get()
    ReminderSettings.objects.update(webhook_off="410")
    secret = actions.set_webhook(user=before.user, url=receiver.url)
    after = ReminderSettings.objects.get()
    assert after.webhook_secret == secret != before.webhook_secret
    assert after.webhook_off == ""


def test_a_mail_server_is_not_called_anew_for_each_message_nor_kept_for_ever(settings):
    from planning.reminders import channels
    from tests.planning.reminders.postbox import postbox

    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    with postbox() as box:
        settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", box.port
        mailer = channels.Mailer()
        seen = []
        for n in range(channels.MOST_A_CONNECTION + 1):
            message = channels.Message(f"rem_{n}", "s", "t", {}, 1, False)
            mailer.send(message, "a@example.org")
            if mailer._connection not in seen:
                seen.append(mailer._connection)
        mailer.close()
        assert len(box.letters) == channels.MOST_A_CONNECTION + 1
    assert len(seen) == 2
