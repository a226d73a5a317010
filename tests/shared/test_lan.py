"""The shop on its local network: its own authority, the page of trust, and when it is refused."""

import http.client
import os
import socket
import ssl
import stat
import threading
from datetime import timedelta
from http.server import ThreadingHTTPServer

import pytest
from django.core.management import CommandError, call_command

from shared.access.models import User
from shared.run import authority, trusting

NOW = authority.moment()
NAMES = ("localhost", "bench.local")


def make(folder, at=("10.1.2.3",), names=NAMES, now=NOW):
    return authority.served(folder / "authority", at, names, now)


def handshake(found, name):
    """Greet a server of that certificate as a client that trusts the authority, in memory."""
    server = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    server.load_cert_chain(found.certificate, found.key)
    client = ssl.create_default_context(cafile=found.authority)
    to_server, to_client = ssl.MemoryBIO(), ssl.MemoryBIO()
    near = client.wrap_bio(to_client, to_server, server_hostname=name)
    far = server.wrap_bio(to_server, to_client, server_side=True)
    for _ in range(4):
        for side in (near, far):
            try:
                side.do_handshake()
            except ssl.SSLWantReadError:
                continue
    return near.version()


def test_a_client_that_trusts_the_authority_reaches_the_shop_by_address_and_name(tmp_path):
    found = make(tmp_path)
    for name in ("10.1.2.3", "127.0.0.1", "localhost", "bench.local"):
        assert handshake(found, name) == "TLSv1.3"
    with pytest.raises(ssl.SSLCertVerificationError):
        handshake(found, "10.9.9.9")


@pytest.mark.parametrize(
    ("at", "names"), [(("8.8.8.8",), NAMES), (("10.1.2.3",), ("shop.example.com",))]
)
def test_what_it_signs_for_a_public_address_or_name_is_worth_nothing(tmp_path, at, names):
    found = make(tmp_path, at, names)
    with pytest.raises(ssl.SSLCertVerificationError, match="permitted subtree violation"):
        handshake(found, at[0] if at[0] == "8.8.8.8" else names[0])


def test_keys_are_readable_by_their_owner_alone(tmp_path):
    before = os.umask(0o000)
    try:
        found = make(tmp_path)
    finally:
        os.umask(before)
    folder = found.key.parent
    for key in (folder / "authority.key", folder / "server.key"):
        assert stat.S_IMODE(key.stat().st_mode) == 0o600
    assert stat.S_IMODE(folder.stat().st_mode) == 0o700


def test_the_authority_stays_and_the_servers_certificate_is_renewed_when_needed(tmp_path):
    first = make(tmp_path)
    kept = first.certificate.read_bytes()
    assert make(tmp_path).certificate.read_bytes() == kept
    moved = make(tmp_path, ("10.1.2.3", "192.168.7.7"))
    assert moved.certificate.read_bytes() != kept
    assert moved.fingerprint == first.fingerprint
    assert handshake(moved, "192.168.7.7") == "TLSv1.3"
    now = moved.certificate.read_bytes()
    later = make(tmp_path, ("10.1.2.3",), now=NOW + timedelta(days=authority.SERVER_DAYS - 20))
    assert later.certificate.read_bytes() != now
    assert later.fingerprint == first.fingerprint


@pytest.mark.parametrize(
    ("address", "private"),
    [("10.0.0.1", True), ("172.31.255.1", True), ("172.32.0.1", False), ("192.168.1.1", True),
     ("192.169.1.1", False), ("169.254.3.4", True), ("8.8.8.8", False)],
)  # fmt: skip
def test_private_addresses_are_those_of_rfc_1918_and_3927(address, private):
    assert authority.is_private(address) is private


def test_the_page_of_trust_hands_out_the_certificate_and_nothing_else(tmp_path):
    found = make(tmp_path)
    folder = found.authority.parent
    trusting.write_page(folder, found.fingerprint, "https://10.1.2.3:8000/")
    handler = type("Handler", (trusting.Trusting,), {"folder": folder})
    server = ThreadingHTTPServer(("127.0.0.1", 0), handler)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    try:
        answers = {}
        for path in ("/", "/authority.crt", "/authority.key", "/../authority.key", "/server.key"):
            asked = http.client.HTTPConnection("127.0.0.1", server.server_port, timeout=5)
            asked.request("GET", path)
            answer = asked.getresponse()
            answers[path] = (answer.status, answer.read())
            asked.close()
    finally:
        server.shutdown()
        server.server_close()
    assert answers["/"][0] == 200
    assert found.fingerprint.encode() in answers["/"][1]
    assert b"https://10.1.2.3:8000/" in answers["/"][1]
    assert answers["/authority.crt"] == (200, found.authority.read_bytes())
    for path, (status, data) in answers.items():
        assert b"PRIVATE" not in data
        if path.endswith("key"):
            assert status == 404


@pytest.fixture
def on_a_network(monkeypatch, settings, tmp_path):
    """A computer with an address in a local network and two free ports."""
    settings.DATA = tmp_path
    monkeypatch.setattr(authority, "addresses", lambda: ["10.1.2.3"])
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        port = one.getsockname()[1]
    return ["--port", str(port), "--empty", "--lan"]


def test_the_network_is_refused_while_a_password_of_the_example_is_valid(db, on_a_network):
    User.objects.create_user("anna", password="another password")
    User.objects.create_user("tess", password="demo-shop")
    with pytest.raises(CommandError, match=r"demo-shop, which anybody can read.*for tess\. Give"):
        call_command("open_shop", *on_a_network)


def test_the_network_is_refused_while_nobody_can_sign_in(db, on_a_network):
    with pytest.raises(CommandError, match="the first phone of the network could found the shop"):
        call_command("open_shop", *on_a_network)


def test_the_network_is_refused_without_an_address(db, on_a_network, monkeypatch):
    monkeypatch.setattr(authority, "addresses", list)
    with pytest.raises(CommandError, match="no address in a local network"):
        call_command("open_shop", *on_a_network)


@pytest.mark.parametrize("given", ["8.8.8.8", "shop", "192.168.1"])
def test_a_given_address_must_be_a_private_one(db, on_a_network, given):
    with pytest.raises(CommandError, match=f"--lan is {given}; it must be"):
        call_command("open_shop", *on_a_network, given)
