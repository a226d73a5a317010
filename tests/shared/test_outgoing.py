"""Webhooks go only where they may, signed so that a library that is not ours agrees."""

import socket
import ssl
import threading
import time
from contextlib import suppress
from datetime import UTC, datetime
from ipaddress import ip_address

import pytest
from standardwebhooks.webhooks import Webhook, WebhookVerificationError

from shared.errors import Invalid
from shared.outgoing import targets, webhook
from shared.outgoing.webhook import NotDelivered
from tests.reference_cases import asserts, case, params
from tests.shared.receiver import Receiver

pytest_plugins = ["tests.shared.receiver"]


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


ADDRESSES = ("WH-07", "WH-08", "WH-09", "WH-10")


@pytest.mark.parametrize("case", params("interchange_checks.csv", *ADDRESSES))
def test_address_rows(case):
    allowed = targets.is_allowed(ip_address(case.inputs["resolved_ip"]))
    assert {"allow": allowed} == case.expected, case.source


@asserts("interchange_checks.csv", "WH-06")
def test_attempts_follow_the_published_example():
    row = case("interchange_checks.csv", "WH-06")
    waits = [0, *webhook.ATTEMPT_WAITS_S]
    assert waits == row.inputs["delays_s"]
    hours, rest = divmod(sum(waits), 3600)
    last = f"{hours}:{rest // 60:02d}:{rest % 60:02d}"
    assert {"attempts": len(waits), "last_attempt_after": last} == row.expected, row.source


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
        pytest.param("https://hooks.example/\r\nX: y", "spaces or control", id="new line"),
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


@pytest.mark.parametrize("case", params("interchange_checks.csv", "WH-01"))
def test_signature_is_that_of_the_published_vector(case, receiver):
    given = case.inputs
    webhook.post(
        url=receiver.url,
        secret=given["secret"],
        message_id=given["webhook-id"],
        body=given["body"],
        now=datetime.fromtimestamp(given["webhook-timestamp"], UTC),
    )
    ((headers, body),) = receiver.received
    lower = {name.lower(): value for name, value in headers.items()}
    assert {"webhook-signature": lower["webhook-signature"]} == case.expected, case.source
    assert body == given["body"]


def post(receiver):
    secret = webhook.new_secret()
    webhook.post(
        url=receiver.url,
        secret=secret,
        message_id="msg_1",
        body='{"type": "reminder.due"}',
        now=datetime.now(UTC),
    )
    return secret


def test_posted_message_verifies_with_the_receivers_library(receiver):
    secret = post(receiver)
    ((headers, body),) = receiver.received
    names = ("webhook-id", "webhook-timestamp", "webhook-signature")
    lower = {name.lower(): value for name, value in headers.items()}
    signed = {name: lower[name] for name in names}
    assert Webhook(secret).verify(body, signed)["type"] == "reminder.due"
    with pytest.raises(WebhookVerificationError):
        Webhook(secret).verify(body.replace("due", "dew"), signed)


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
    monkeypatch.setattr("shared.outgoing.webhook.TIMEOUT_S", 0.3)
    hold = threading.Event()
    monkeypatch.setattr(Receiver, "do_POST", lambda self: hold.wait(2))
    with pytest.raises(NotDelivered, match=r"not within 0\.3 s") as failure:
        post(receiver)
    hold.set()
    assert failure.value.doubtful


@pytest.mark.parametrize(
    ("url", "why"),
    [
        ("https://127.0.0.1/x", "127.0.0.1, which is not a public address"),
        ("https://10.1.2.3/x", "10.1.2.3, which is not a public address"),
        ("https://[::1]/x", "::1, which is not a public address"),
        ("https://localhost/x", "which is not a public address"),
    ],
)
def test_a_private_address_is_refused_when_it_is_given(url, why):
    with pytest.raises(Invalid, match=why):
        targets.check_address(url)


def test_a_name_that_is_not_known_now_is_kept_and_tested_at_each_message():
    targets.check_address("https://nowhere.invalid/x")  # RFC 2606: never resolves
    with pytest.raises(targets.Refused, match="cannot be found"):
        targets.resolve("https://nowhere.invalid/x")


@pytest.mark.parametrize("from_the_start", [True, False], ids=["in the handshake", "in the head"])
def test_receiver_that_drips_is_cut_off_after_the_whole_time(
    certificate, receiver, monkeypatch, from_the_start
):
    """A byte every tenth of a second never runs into the limit of a single read."""
    cert, key = certificate
    listener = socket.create_server(("127.0.0.1", 0))
    receiver_context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    receiver_context.load_cert_chain(cert, key)
    stop = threading.Event()

    def drip():
        plain, _ = listener.accept()
        with suppress(OSError):
            if from_the_start:
                plain.sendall(b"\x16\x03\x03\x40\x00")  # the head of a TLS record of 16 kB
                peer = plain
            else:
                peer = receiver_context.wrap_socket(plain, server_side=True)
                peer.sendall(b"HTTP/1.1 204 No Content\r\nX-Slow: ")
            while not stop.wait(0.1):
                peer.sendall(b"a")
        plain.close()

    thread = threading.Thread(target=drip, daemon=True)
    thread.start()
    port = listener.getsockname()[1]
    receiver.url = f"https://localhost:{port}/hook"
    monkeypatch.setattr(targets, "ports", lambda: [port])
    monkeypatch.setattr(webhook, "TIMEOUT_S", 1.0)
    began = time.monotonic()
    try:
        with pytest.raises(NotDelivered, match=r"not within 1\.0 s"):
            post(receiver)
    finally:
        stop.set()
        thread.join(2)
        listener.close()
    assert time.monotonic() - began < 5


@pytest.mark.parametrize(
    "sent",
    [
        b"HTTP/1.1 200 OK\r\n",
        b"HTTP/1.1 200 OK\r\nX-Half: he",
        b"HTTP/1.1 200 OK\r\nContent-Length: 0\r\n",
        b"HTTP/1.1 200 O",
        b"",
    ],
)
def test_an_answer_that_breaks_off_in_its_head_is_no_answer(
    certificate, receiver, monkeypatch, sent
):
    cert, key = certificate
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(cert, key)
    listener = socket.create_server(("127.0.0.1", 0))

    def answer():
        plain, _ = listener.accept()
        with suppress(OSError), context.wrap_socket(plain, server_side=True) as peer:
            peer.recv(65536)
            peer.sendall(sent)

    thread = threading.Thread(target=answer, daemon=True)
    thread.start()
    port = listener.getsockname()[1]
    receiver.url = f"https://localhost:{port}/hook"
    monkeypatch.setattr(targets, "ports", lambda: [port])
    try:
        with pytest.raises(NotDelivered, match="did not answer") as failure:
            post(receiver)
    finally:
        thread.join(5)
        listener.close()
    assert failure.value.doubtful
