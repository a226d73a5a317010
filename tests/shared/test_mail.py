"""Mail that is sent or says that it is not, with a real server of another make on the loopback."""

import time
from contextlib import contextmanager

import pytest
from aiosmtpd.controller import Controller
from aiosmtpd.smtp import AuthResult, LoginPassword
from django.core.mail import EmailMessage

from planning.reminders.models import Channel, Kind
from planning.reminders.reach import reach_of
from shared.errors import Invalid
from shared.mail import backend
from shared.mail.models import MailServer
from shop.purchasing import mailing
from shop.purchasing.models import MailState, OrderMail
from tests.callers import make_user
from tests.factories.purchasing import make_order, make_pack
from tests.factories.shop import make_supplier
from tests.servers import free_port

pytestmark = pytest.mark.django_db
SECRET = "only of this test"


class Handler:
    """Takes messages, or answers as its kind of server does."""

    def __init__(self, kind):
        self.kind, self.taken, self.asked = kind, [], 0

    async def handle_RCPT(self, server, session, envelope, address, options):
        self.asked += 1
        if self.kind == "refusing":
            return "550 5.1.1 no such mailbox"
        if self.kind == "greylisting" and self.asked == 1:
            return "451 4.7.1 greylisted, try again later"
        envelope.rcpt_tos.append(address)
        return "250 ok"

    async def handle_DATA(self, server, session, envelope):
        if self.kind == "hanging":
            time.sleep(1.5)
        self.taken.append(envelope)
        return "250 taken"


def check_account(server, session, envelope, mechanism, data):
    assert isinstance(data, LoginPassword)
    right = (data.login, data.password) == (b"shop", SECRET.encode())
    return AuthResult(success=right, handled=False)


@contextmanager
def mail_server(kind="willing", **options):
    handler = Handler(kind)
    controller = Controller(handler, hostname="127.0.0.1", port=0, **options)
    controller.port = free_port()
    controller.start()
    try:
        yield handler, controller.port
    finally:
        controller.stop()


@pytest.fixture
def by_page(settings):
    """Mail as a shop on one computer sends it, with nothing in the environment."""
    settings.EMAIL_BACKEND, settings.EMAIL_HOST, settings.EMAIL_TIMEOUT = backend.NAME, "", 1


@pytest.fixture
def order(site):
    return make_order(site, make_pack(supplier=make_supplier(order_email="o@supplier.example")))


def entered(port, **values):
    usual = {"host": "127.0.0.1", "security": "none", "sender": "shop@house.example"}
    return MailServer.objects.create(pk=1, port=port, **usual | values)


def message():
    return EmailMessage("Subject", "Words", backend.sender(), ["buyer@resins.example"])


def test_without_a_server_nothing_is_said_to_be_sent(by_page, order, browser_of):
    assert not backend.is_on()
    with pytest.raises(backend.MailOff, match="No mail server is set"):
        message().send()
    page = browser_of("administrator").get("/setup/mail/").content.decode()
    assert "nothing is mailed" in page
    assert "Nothing is mailed" in browser_of("administrator").get("/setup/").content.decode()
    with pytest.raises(Invalid, match="Or send the PDF another way"):
        mailing.ask(order)
    assert not OrderMail.objects.exists()


def test_who_is_told_by_mail_is_told_on_today_while_no_mail_leaves(by_page, site):
    user = make_user("technician", site)
    found = reach_of(site.pk).for_kind(Kind.CURE_COMPLETE)
    assert {r.channel for r in found if r.user == user} == {Channel.TODAY, Channel.CALENDAR}
    entered(25)
    found = reach_of(site.pk).for_kind(Kind.CURE_COMPLETE)
    assert Channel.EMAIL in {r.channel for r in found if r.user == user}


def test_mail_leaves_by_the_server_entered_and_from_its_sender(by_page):
    with mail_server(authenticator=check_account, auth_require_tls=False) as (handler, port):
        entered(port, username="shop", password=SECRET)
        assert message().send() == 1
    (taken,) = handler.taken
    assert (taken.mail_from, taken.rcpt_tos) == ("shop@house.example", ["buyer@resins.example"])


def test_the_page_tries_the_server_and_tells_its_words(by_page, browser_of):
    client = browser_of("administrator")
    values = {"host": "127.0.0.1", "security": "none", "sender": "shop@house.example"}
    with mail_server(authenticator=check_account, auth_require_tls=False) as (handler, port):
        account = values | {"port": port, "username": "shop"}
        client.post("/setup/mail/", account | {"password": "wrong"})
        page = client.post("/setup/mail/", {"to": "ada@shop.example"}, follow=True)
        assert "refuses account or password" in page.content.decode()
        assert handler.taken == []
        client.post("/setup/mail/", account | {"password": SECRET})
        page = client.post("/setup/mail/", {"to": "ada@shop.example"}, follow=True)
        assert "The server took the trial to ada@shop.example" in page.content.decode()
        assert "The last trial failed" not in page.content.decode()
        assert len(handler.taken) == 1
    page = client.post("/setup/mail/", {"to": "ada@shop.example"}, follow=True)
    assert "The last trial failed" in page.content.decode()
    assert SECRET not in page.content.decode()


def test_a_password_is_never_told_to_another_server(by_page, browser_of):
    entered(25, username="shop", password=SECRET)
    client = browser_of("administrator")
    usual = {"port": "25", "security": "none", "username": "shop", "sender": "a@house.example"}
    kept = client.post("/setup/mail/", usual | {"host": "127.0.0.1", "password": ""})
    assert kept.status_code == 302
    assert MailServer.objects.get().password == SECRET
    for change in ({"host": "evil.example"}, {"host": "127.0.0.1", "port": "2525"}):
        refused = client.post("/setup/mail/", usual | change | {"password": ""})
        assert refused.status_code == 422
        assert "give the password once more" in refused.content.decode()
    assert MailServer.objects.get().host == "127.0.0.1"


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({"host": "http://mail.example/"}, "give only its name"),
        ({"host": "mail.example\r\nX: y"}, "give only its name"),
        ({"port": "0"}, "greater than or equal to 1"),
        ({"port": "65536"}, "less than or equal to 65535"),
        ({"sender": ""}, "address is empty"),
        ({"sender": "shop"}, "valid email address"),
        ({"security": "ssl3"}, "Select a valid choice"),
    ],
)
def test_values_that_cannot_be_are_refused_beside_their_field(by_page, browser_of, values, words):
    usual = {
        "host": "mail.example",
        "port": "587",
        "security": "starttls",
        "sender": "a@b.example",
    }
    answer = browser_of("administrator").post("/setup/mail/", usual | values)
    assert answer.status_code == 422
    assert words in answer.content.decode()
    assert not MailServer.objects.exists()


@pytest.mark.parametrize(
    ("kind", "state", "words"),
    [
        ("refusing", MailState.FAILED, "refuses o@"),
        ("greylisting", MailState.WAITING, "refuses o@"),
        ("hanging", MailState.WAITING, "broke off"),
    ],
)
def test_sent_stands_only_after_the_server_took_it(
    by_page,
    order,
    browser_of,
    kind,
    state,
    words,
):
    with mail_server(kind) as (handler, port):
        entered(port)
        mailing.ask(order)
        mailing.send_due()
        mail = OrderMail.objects.get()
        order.refresh_from_db()
        assert (mail.state, order.mailed_at) == (state, None)
        assert words in mail.error
        page = browser_of("administrator").get("/setup/mail/").content.decode()
        assert f"Purchase order {order.number}" in page
        if kind == "greylisting":
            OrderMail.objects.update(try_at=mail.asked_at)
            mailing.send_due()
            order.refresh_from_db()
            assert order.mailed_at is not None
            assert len(handler.taken) == 1
            page = browser_of("administrator").get("/setup/mail/").content.decode()
            assert f"Purchase order {order.number}" not in page


def test_only_whoever_runs_all_sites_may_set_it(by_page, browser_of, site, other_site):
    for role in ("technician", "administrator"):
        assert browser_of(role, at=site).get("/setup/mail/").status_code == 403


def test_the_environment_comes_first(by_page, settings, browser_of):
    with mail_server() as (handler, port):
        settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", port
        entered(1)
        assert message().send() == 1
        page = browser_of("administrator").get("/setup/mail/").content.decode()
    assert len(handler.taken) == 1
    assert "EMAIL_HOST names" in page
    assert 'name="host"' not in page
