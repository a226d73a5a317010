"""Webhooks go only where they may, signed so that a library that is not ours agrees."""

import http.server
import json
import socket
import ssl
import subprocess
import threading
from datetime import UTC, datetime, timedelta
from ipaddress import ip_address

import pytest
from standardwebhooks.webhooks import Webhook, WebhookVerificationError

from planning.reminders import actions, targets
from planning.reminders.channels import Message, NotDelivered, message_id, send_webhook
from planning.reminders.models import Delivery, ReminderSettings
from planning.reminders.sweep import sweep
from shared.errors import Invalid
from tests.planning.reminders.castings import NOW, make_cure, make_pour, make_shop


@pytest.mark.parametrize(
    ("address", "allowed"),
    [
        # Reference cases WH-07 to WH-10 and the ranges of the IANA special-purpose registries.
        pytest.param("169.254.169.254", False, id="link-local metadata"),
        pytest.param("100.64.0.1", False, id="carrier-grade NAT"),
        pytest.param("64:ff9b::7f00:1", False, id="loopback inside NAT64"),
        pytest.param("64:ff9b::808:808", True, id="public inside NAT64"),
        pytest.param("2002:7f00:1::", False, id="loopback inside 6to4"),
        pytest.param("::ffff:10.0.0.1", False, id="private, mapped"),
        pytest.param("224.0.0.1", False, id="multicast"),
        pytest.param("ff0e::1", False, id="multicast of version 6"),
        pytest.param("127.0.0.1", False, id="loopback"),
        pytest.param("::1", False, id="loopback of version 6"),
        pytest.param("10.1.2.3", False, id="private"),
        pytest.param("0.0.0.0", False, id="unspecified"),
        pytest.param("255.255.255.255", False, id="broadcast"),
        pytest.param("fe80::1", False, id="link-local of version 6"),
        pytest.param("fc00::1", False, id="unique local"),
        pytest.param("2001::1", False, id="tunnel of version 4"),
        pytest.param("8.8.8.8", True, id="public"),
        pytest.param("2606:4700::1111", True, id="public of version 6"),
    ],
)
def test_only_public_addresses_are_posted_to(address, allowed):
    assert targets.is_allowed(ip_address(address)) is allowed


def test_own_networks_are_allowed_when_a_shop_lists_them(settings):
    settings.WEBHOOK_ALLOWED_NETWORKS = ["10.1.0.0/16"]
    assert targets.is_allowed(ip_address("10.1.2.3"))
    assert not targets.is_allowed(ip_address("10.2.2.3"))


@pytest.mark.parametrize(
    ("url", "words"),
    [
        pytest.param("http://hooks.example/x", "must begin with https://", id="not encrypted"),
        pytest.param("ftp://hooks.example/x", "must begin with https://", id="another scheme"),
        pytest.param("https://a:b@hooks.example/", "name or password", id="password in it"),
        pytest.param("https://hooks.example:22/", "names port 22; allowed: 443", id="port"),
        pytest.param("https://hooks.example:x/", "cannot be read", id="no number"),
        pytest.param("https://hooks.example/\r\nX: y", "spaces or control signs", id="new line"),
        pytest.param("https:///x", "name a host", id="no host"),
        pytest.param("https://[::1/", "cannot be read", id="broken"),
    ],
)
def test_address_that_cannot_be_right_is_refused_with_its_reason(url, words):
    with pytest.raises(Invalid, match=words):
        targets.check_address(url)


def answering(*addresses):
    return lambda *args, **values: [(0, 0, 0, "", (address, 443)) for address in addresses]


def test_name_with_one_bad_address_among_good_ones_is_refused(monkeypatch):
    monkeypatch.setattr(socket, "getaddrinfo", answering("8.8.8.8", "127.0.0.1"))
    with pytest.raises(targets.Refused, match=r"leads to 127\.0\.0\.1, which is not a public"):
        targets.resolve("https://hooks.example/x")


def test_name_that_changes_its_answer_is_connected_at_the_tested_address(monkeypatch):
    monkeypatch.setattr(socket, "getaddrinfo", answering("8.8.8.8"))
    target = targets.resolve("https://hooks.example/x?y=1")
    monkeypatch.setattr(socket, "getaddrinfo", answering("127.0.0.1"))
    dialled = []

    def dial(address, timeout):
        dialled.append(address)
        raise OSError("far away")

    monkeypatch.setattr(socket, "create_connection", dial)
    with pytest.raises(OSError, match="far away"):
        targets.PinnedConnection(target, 1, ssl.create_default_context()).connect()
    assert dialled == [("8.8.8.8", 443)]
    assert (target.host, target.path) == ("hooks.example", "/x?y=1")


def test_signature_is_that_of_the_published_vector():
    # Standard Webhooks 1.0.0, reference library tests (case WH-01).
    signed = Webhook("whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw").sign(
        "msg_p5jXN8AQM9LWM0D4loKWxJek",
        datetime.fromtimestamp(1614265330, UTC),
        '{"test": 2432232314}',
    )
    assert signed == "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE="


class Receiver(http.server.BaseHTTPRequestHandler):
    """Keeps what is posted and answers what the test asks for."""

    def do_POST(self):
        body = self.rfile.read(int(self.headers["Content-Length"]))
        self.server.received.append((dict(self.headers), body.decode()))
        self.send_response(self.server.status)
        for name, value in self.server.headers.items():
            self.send_header(name, value)
        self.send_header("Content-Length", "0")
        self.end_headers()

    def log_message(self, *args):
        """Say nothing."""


@pytest.fixture(scope="module")
def certificate(tmp_path_factory):
    folder = tmp_path_factory.mktemp("tls")
    key, cert = folder / "key.pem", folder / "cert.pem"
    words = "req -x509 -newkey rsa:2048 -nodes -days 2 -subj /CN=localhost"
    words += f" -addext subjectAltName=DNS:localhost -keyout {key} -out {cert}"
    subprocess.run(["openssl", *words.split()], check=True, capture_output=True)
    return cert, key


@pytest.fixture
def receiver(certificate, settings):
    """Listen on localhost with a certificate the service trusts."""
    from planning.reminders import channels

    cert, key = certificate
    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Receiver)
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(cert, key)
    server.socket = context.wrap_socket(server.socket, server_side=True)
    server.received, server.status, server.headers = [], 204, {}
    server.url = f"https://localhost:{server.server_port}/hook"
    threading.Thread(target=server.serve_forever, daemon=True).start()
    settings.WEBHOOK_ALLOWED_NETWORKS = ["127.0.0.0/8", "::1/128"]
    settings.WEBHOOK_ALLOWED_PORTS = [server.server_port]
    settings.WEBHOOK_CA_FILE = str(cert)
    channels._context.cache_clear()
    yield server
    server.shutdown()
    server.server_close()
    channels._context.cache_clear()


def hooked(receiver):
    return ReminderSettings(webhook_url=receiver.url, webhook_secret=actions.new_secret())


def message(key="cure_complete:cure:1:v1:1:webhook"):
    return Message(message_id(key), "Tool", "Tool", {"reminders": []}, attempt=1, doubtful=False)


def post(receiver):
    now = datetime.now(UTC)
    own = hooked(receiver)
    send_webhook(message(), own, now)
    return own


def test_posted_message_verifies_with_the_receivers_library(receiver):
    own = post(receiver)
    ((headers, body),) = receiver.received
    names = ("webhook-id", "webhook-timestamp", "webhook-signature")
    lower = {name.lower(): value for name, value in headers.items()}
    signed = {name: lower[name] for name in names}
    assert Webhook(own.webhook_secret).verify(body, signed)["type"] == "reminder.due"
    with pytest.raises(WebhookVerificationError):
        Webhook(own.webhook_secret).verify(body.replace("due", "dew"), signed)


@pytest.mark.parametrize(
    ("status", "headers", "wait_s", "final"),
    [
        pytest.param(500, {}, None, False, id="failing"),
        pytest.param(302, {"Location": "https://elsewhere.example/"}, None, False, id="redirect"),
        pytest.param(429, {"Retry-After": "90"}, 90, False, id="too many"),
        pytest.param(503, {"Retry-After": "999999"}, 86400, False, id="waits a day at most"),
        pytest.param(410, {}, None, True, id="gone"),
    ],
)
def test_only_success_counts(receiver, status, headers, wait_s, final):
    receiver.status, receiver.headers = status, headers
    with pytest.raises(NotDelivered) as failure:
        post(receiver)
    assert (failure.value.wait_s, failure.value.final) == (wait_s, final)
    assert len(receiver.received) == 1


def test_certificate_of_another_name_is_refused(receiver, monkeypatch):
    real = socket.getaddrinfo
    monkeypatch.setattr(
        socket, "getaddrinfo", lambda host, *more, **named: real("127.0.0.1", *more, **named)
    )
    receiver.url = receiver.url.replace("localhost", "hooks.example")
    with pytest.raises(NotDelivered, match="SSLCertVerificationError") as failure:
        post(receiver)
    assert not failure.value.doubtful
    assert receiver.received == []


def test_receiver_that_hangs_leaves_doubt(certificate, receiver, monkeypatch):
    monkeypatch.setattr("planning.reminders.channels.TIMEOUT_S", 0.3)
    hold = threading.Event()
    monkeypatch.setattr(Receiver, "do_POST", lambda self: hold.wait(2))
    with pytest.raises(NotDelivered, match="TimeoutError") as failure:
        post(receiver)
    hold.set()
    assert failure.value.doubtful


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
