"""Endpoints: made, paused, given new secrets, told again; what is given up and what waits."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.db import transaction
from standardwebhooks.webhooks import Webhook, WebhookVerificationError

from shared.access.models import Site
from shared.events import actions as events
from shared.events.kinds import EventKind, ObjectKind
from shared.hooks import actions, sending
from shared.hooks.models import Endpoint, HookAttempt, HookDelivery
from shared.outgoing import webhook
from tests.callers import caller, make_user

pytest_plugins = ["tests.shared.receiver"]
pytestmark = pytest.mark.django_db

ALL = "/api/v1/webhook-endpoints"


def tell(site, pk=1, kind=EventKind.LOT_HELD):
    with transaction.atomic():
        return events.add(
            site=site, object_kind=ObjectKind.LOT, object_id=pk, kind=kind, at=datetime.now(UTC)
        ).uid


@pytest.fixture
def calls(site):
    return caller(make_user("integration", site), [site])


@pytest.fixture
def made(site, receiver):
    return actions.add(site=site, name="Orders", url=receiver.url, kinds=[], now=datetime.now(UTC))


def send(endpoint):
    from shared.events.placing import place_waiting

    place_waiting()
    return sending.send_to(endpoint.pk)


def ids(receiver):
    return [{k.lower(): v for k, v in h.items()}["webhook-id"] for h, _ in receiver.received]


def verified(secret, received):
    headers, body = received
    return Webhook(secret).verify(body, {k.lower(): v for k, v in headers.items()})


def test_made_by_rest_with_a_secret_shown_once(calls, site, receiver):
    body = {"name": "Orders", "url": receiver.url, "kinds": ["lot.held"]}
    answer = calls.post(ALL, body, format="json")
    assert answer.status_code == 201, answer.json()
    secret = answer.json()["secret"]
    page = f"{ALL}/{answer.json()['id']}"
    assert "secret" not in calls.get(page).json()
    assert secret.encode() not in calls.get(ALL).content
    told = tell(site)
    tell(site, kind=EventKind.RECEIVED)
    send(Endpoint.objects.get())
    assert ids(receiver) == [told]
    assert verified(secret, receiver.received[0])["data"]["object"] == {"kind": "lot", "id": "1"}
    feed = calls.get("/api/v1/events?kinds=lot.held").json()["items"]
    assert feed == [verified(secret, receiver.received[0])]
    twice = calls.post(ALL, body, format="json")
    assert twice.status_code == 422
    assert twice.json()["errors"][0]["code"] == "not_unique"


@pytest.mark.parametrize("url", ["https://127.0.0.1/x", "http://hooks.example/", "https://[::1]/"])
def test_private_and_open_addresses_are_refused_when_given(calls, url):
    answer = calls.post(ALL, {"name": "x", "url": url}, format="json")
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["pointer"] == "#/url"
    assert not Endpoint.objects.exists()


def test_a_changed_address_is_tested_too(calls, made):
    page = f"{ALL}/{made.pk}"
    tag = calls.get(page)["ETag"]
    answer = calls.patch(page, {"url": "https://10.0.0.1/"}, etag=tag, format="json")
    assert answer.status_code == 422
    changed = calls.patch(page, {"kinds": ["lot.held"]}, etag=tag, format="json")
    assert changed.json()["kinds"] == ["lot.held"]


def test_old_and_new_secret_sign_together_for_a_day(site, receiver, made):
    before = made.secret
    fresh = actions.new_secret(endpoint=made, now=datetime.now(UTC))
    assert fresh.secret != before
    tell(site)
    send(fresh)
    for secret in (before, fresh.secret):
        assert verified(secret, receiver.received[0])
    Endpoint.objects.update(old_secret_until=datetime.now(UTC) - timedelta(seconds=1))
    tell(site)
    send(fresh)
    assert verified(fresh.secret, receiver.received[1])
    with pytest.raises(WebhookVerificationError):
        verified(before, receiver.received[1])


def test_secrets_are_not_readable_in_the_table(made):
    from django.db import connection

    with connection.cursor() as cursor:
        cursor.execute("SELECT secret FROM shared_endpoint")
        assert made.secret not in cursor.fetchone()[0]


def test_nothing_is_sent_while_paused_and_nothing_is_lost(calls, site, receiver, made):
    calls.post(f"{ALL}/{made.pk}/pauses", {"reason": "moving"}, format="json")
    told = [tell(site), tell(site)]
    send(made)
    assert receiver.received == []
    calls.post(f"{ALL}/{made.pk}/resumptions", {}, format="json")
    send(made)
    assert ids(receiver) == told


def test_an_earlier_event_of_the_object_is_waited_for_and_others_go_on(site, receiver, made):
    receiver.status = 500
    tell(site, 1), tell(site, 1)
    other = tell(site, 2)
    send(made)
    assert len(receiver.received) == 2
    assert ids(receiver)[1] == other
    receiver.status = 204
    HookDelivery.objects.update(try_at=datetime.now(UTC))
    send(made)
    sequences = [verified(made.secret, one)["data"]["sequence"] for one in receiver.received[2:]]
    assert sorted(sequences) == [1, 1, 2]


def test_what_is_given_up_lets_the_later_events_of_its_object_go_on(site, receiver, made):
    receiver.status = 500
    tell(site, 1), tell(site, 1)
    waits = webhook.ATTEMPT_WAITS_S
    for _ in range(len(waits) + 1):
        send(made)
        HookDelivery.objects.update(try_at=datetime.now(UTC))
    states = list(HookDelivery.objects.order_by("position").values_list("state", "attempts"))
    assert states[0] == ("dead", 10)
    assert len(set(ids(receiver)[:10])) == 1
    receiver.status, receiver.received[:] = 204, []
    send(made)
    assert verified(made.secret, receiver.received[0])["data"]["sequence"] == 2


def test_replay_sends_again_with_the_same_ids_in_order(calls, site, receiver, made):
    told = [tell(site, pk) for pk in (1, 2, 1)]
    send(made)
    since = (datetime.now(UTC) - timedelta(hours=1)).isoformat()
    answer = calls.post(f"{ALL}/{made.pk}/replays", {"since": since}, format="json")
    assert answer.json() == {"events": 3}
    send(made)
    assert ids(receiver) == told + told
    since = datetime.now(UTC).isoformat()
    again = calls.post(f"{ALL}/{made.pk}/replays", {"since": since}, format="json")
    assert again.json() == {"events": 0}


def test_gone_pauses_the_endpoint_and_keeps_the_event(site, receiver, made):
    receiver.status = 410
    told = tell(site)
    send(made)
    found = Endpoint.objects.get()
    assert found.paused_because == "localhost answered 410: it wants no more."
    receiver.status = 204
    actions.go_on(endpoint=found)
    send(found)
    assert ids(receiver) == [told, told]


def test_a_sender_that_died_is_followed_by_one_that_sends_again(site, receiver, made):
    told = tell(site)
    send(made)
    HookDelivery.objects.update(state="sending")
    Endpoint.objects.update(
        claimed_by="dead", lease_until=datetime.now(UTC) + timedelta(seconds=30)
    )
    assert send(made) == 0
    Endpoint.objects.update(lease_until=datetime.now(UTC) - timedelta(seconds=1))
    assert send(made) == 1
    assert ids(receiver) == [told, told]
    assert HookDelivery.objects.get().doubtful


def test_a_test_is_sent_at_once_and_logged(calls, receiver, made):
    answer = calls.post(f"{ALL}/{made.pk}/tests", {}, format="json")
    assert answer.status_code == 201, answer.json()
    assert answer.json()["taken"] is True
    assert verified(made.secret, receiver.received[0])["type"] == "webhook.test"
    receiver.status = 500
    failed = calls.post(f"{ALL}/{made.pk}/tests", {}, format="json").json()
    assert (failed["taken"], failed["words"]) == (False, "localhost answered 500.")
    assert HookAttempt.objects.count() == 2


def test_the_pages(site, receiver, browser_of):
    client = browser_of("administrator")
    bad = client.post("/setup/webhooks/", {"name": "x", "url": "https://10.0.0.1/"})
    assert bad.status_code == 422
    answer = client.post("/setup/webhooks/", {"name": "Orders", "url": receiver.url}, follow=True)
    found = Endpoint.objects.get()
    assert found.secret in answer.content.decode()
    page = f"/setup/webhooks/{found.pk}/"
    assert "Taken." in client.post(f"{page}test/", follow=True).content.decode()
    assert found.secret not in client.get(page).content.decode()
    assert "Nothing is sent since" in client.post(f"{page}pause/", follow=True).content.decode()
    client.post(f"{page}go-on/")
    assert Endpoint.objects.get().paused_at is None
    client.post(f"{page}secret/")
    assert Endpoint.objects.get().old_secret == found.secret
    tell(site)
    again = client.post(f"{page}again/", {"since": "2020-01-01T00:00"}, follow=True)
    assert "1 events are sent again" in again.content.decode()
    Site.objects.update(time_zone="Europe/Berlin")
    skipped = client.post(f"{page}again/", {"since": "2026-03-29T02:30"}, follow=True)
    assert "there is no such time" in skipped.content.decode()
    # The page tells the site's time, and takes it: five minutes ahead there is nothing to send.
    Site.objects.update(time_zone="Asia/Kolkata")
    ahead = datetime.now(ZoneInfo("Asia/Kolkata")) + timedelta(minutes=5)
    none = client.post(f"{page}again/", {"since": f"{ahead:%Y-%m-%dT%H:%M}"}, follow=True)
    assert "0 events are sent again" in none.content.decode()
    behind = ahead - timedelta(minutes=65)
    some = client.post(f"{page}again/", {"since": f"{behind:%Y-%m-%dT%H:%M}"}, follow=True)
    assert "1 events are sent again" in some.content.decode()
    assert client.post(f"{page}lose/").status_code == 404
    assert browser_of("technician").get("/setup/webhooks/").status_code == 403
    client.post(f"{page}delete/")
    assert "No other system is told" in client.get("/setup/webhooks/").content.decode()


def test_old_deliveries_are_forgotten(site, receiver, made):
    tell(site)
    send(made)
    assert actions.forget_old(datetime.now(UTC)) == 0
    actions.forget_old(datetime.now(UTC) + timedelta(days=91))
    assert not HookDelivery.objects.exists()
