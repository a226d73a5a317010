"""Receivers that fail, hang, drip, redirect and lie, over real HTTP and TLS."""

import json
import threading
import time
from collections import defaultdict
from contextlib import suppress
from datetime import UTC, datetime

import pytest
from django.db import transaction
from standardwebhooks.webhooks import Webhook

from shared.events import actions as events
from shared.events.kinds import EventKind, ObjectKind
from shared.hooks import actions, sending
from shared.hooks.models import Endpoint, HookAttempt, HookDelivery
from shared.outgoing import webhook
from tests.callers import make_site
from tests.shared.receiver import Receiver

pytest_plugins = ["tests.shared.receiver"]
pytestmark = pytest.mark.django_db(transaction=True)

ROUGH = ("fails", "hangs", "drips", "redirects", "lies")
OBJECTS, EACH = 4, 5
HELD_S = 1.5
"""How long a call may take in this test: longer than the second that others may be delayed."""


class Rough:
    """What each address was given, and how it answers while it is rough."""

    def __init__(self):
        self.got = defaultdict(list)
        self.rough = True
        self.stop = threading.Event()
        self.held = 0

    def post(self, handler):
        body = handler.rfile.read(int(handler.headers["Content-Length"])).decode()
        name = handler.path.strip("/")
        arrived = (time.monotonic(), dict(handler.headers), body)
        way = getattr(self, name, None) if self.rough else None
        if way is None:
            self.got[name].append(arrived)
            self.answer(handler, 204)
        else:
            with suppress(OSError):
                way(handler, name, arrived)

    @staticmethod
    def answer(handler, status, **headers):
        handler.send_response(status)
        for key, value in {"Content-Length": "0", **headers}.items():
            handler.send_header(key.replace("_", "-"), value)
        handler.end_headers()

    def fails(self, handler, name, arrived):
        self.answer(handler, 500)

    def hangs(self, handler, name, arrived):
        self.held += 1
        self.stop.wait(10)

    def drips(self, handler, name, arrived):
        handler.wfile.write(b"HTTP/1.1 200 OK\r\nX-Slow: ")
        while not self.stop.wait(0.1):
            handler.wfile.write(b"a")
            handler.wfile.flush()

    def redirects(self, handler, name, arrived):
        self.answer(handler, 302, Location="https://localhost/elsewhere")

    def lies(self, handler, name, arrived):
        """Keep the message and say that it failed, with nonsense beside it."""
        self.got[name].append(arrived)
        self.answer(handler, 503, Retry_After="yesterday", webhook_id="another")


@pytest.fixture
def rough(receiver, monkeypatch):
    found = Rough()
    monkeypatch.setattr(Receiver, "do_POST", lambda self: found.post(self))
    monkeypatch.setattr(webhook, "TIMEOUT_S", HELD_S)
    monkeypatch.setattr(webhook, "ATTEMPT_WAITS_S", (0.2,) * 50)
    yield found
    found.stop.set()


def endpoint(site, receiver, name):
    address = receiver.url.replace("/hook", f"/{name}")
    return actions.add(site=site, name=name, url=address, kinds=[], now=datetime.now(UTC))


def tell(site, pk):
    with transaction.atomic():
        return events.add(
            site=site, object_kind=ObjectKind.LOT, object_id=pk, kind=EventKind.LOT_HELD,
            at=datetime.now(UTC),
        ).uid  # fmt: skip


def go_round_until(done, seconds):
    end = time.monotonic() + seconds
    while not done() and time.monotonic() < end:
        sending.send_all()
        time.sleep(0.05)
    return done()


def test_every_event_arrives_in_order_and_no_receiver_delays_another(receiver, rough):
    site = make_site("main", is_default=True)
    own = {name: endpoint(site, receiver, name) for name in ("good", *ROUGH)}
    written = {}
    for n in range(OBJECTS * EACH):
        written[tell(site, n % OBJECTS)] = time.monotonic()
        arrived = go_round_until(lambda: len(rough.got["good"]) == len(written), 5)
        assert arrived, "the good receiver was kept waiting"
    assert rough.held > 0
    late = {
        headers["webhook-id"]: at - written[headers["webhook-id"]]
        for at, headers, _ in rough.got["good"]
    }
    assert max(late.values()) < 1, "a dead endpoint delayed another by more than a second"
    assert len(rough.got["good"]) == len(written)
    assert not {row.words for row in HookAttempt.objects.filter(endpoint=own["redirects"])} - {
        "localhost answered 302."
    }
    rough.rough = False
    rough.stop.set()
    for thread in list(sending._working.values()):
        thread.join(HELD_S + 2)
    HookDelivery.objects.filter(state="waiting").update(try_at=datetime.now(UTC))
    assert go_round_until(lambda: not HookDelivery.objects.exclude(state="delivered").exists(), 40)
    for thread in list(sending._working.values()):
        thread.join(HELD_S + 2)
    for name, one in own.items():
        check(rough.got[name], Endpoint.objects.get(pk=one.pk).secret, written)
    assert not rough.got["elsewhere"]
    assert len(rough.got["lies"]) > len(written), "the liar was given some of them again"


def check(got, secret, written):
    """Each id at least once, verified by the reference library, first arrivals in order."""
    first = {}
    for _, headers, body in got:
        message = Webhook(secret).verify(body, headers)
        assert message["id"] == headers["webhook-id"]
        assert first.setdefault(message["id"], body) == body, "one id, two messages"
    assert set(first) == set(written)
    numbers = defaultdict(list)
    for body in first.values():
        data = json.loads(body)["data"]
        numbers[data["object"]["id"]].append(data["sequence"])
    assert len(numbers) == OBJECTS
    assert all(found == list(range(1, EACH + 1)) for found in numbers.values()), numbers
