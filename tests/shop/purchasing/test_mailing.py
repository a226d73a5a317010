import smtplib
from datetime import timedelta

import pytest
import time_machine

from shared import clock
from shared.errors import Invalid
from shared.outgoing.webhook import ATTEMPT_WAITS_S
from shop.purchasing import actions, mailing
from shop.purchasing.errors import OrderState
from shop.purchasing.models import OrderMail
from tests.factories.purchasing import make_order, make_pack
from tests.factories.shop import NOW, make_supplier

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def watch():
    with time_machine.travel(NOW, tick=False) as travel:
        yield travel


@pytest.fixture
def order(site):
    return make_order(site, make_pack(supplier=make_supplier(order_email="o@supplier.example")))


def refusing(monkeypatch, *errors):
    """Let the mail server fail with these errors in turn and then take everything."""
    left = list(errors)
    send = mailing.EmailMessage.send

    def try_to(self):
        if left:
            raise left.pop(0)
        return send(self)

    monkeypatch.setattr(mailing.EmailMessage, "send", try_to)


def test_only_what_is_ordered_and_has_an_address_is_mailed(site):
    with pytest.raises(OrderState, match="order it first"):
        mailing.ask(make_order(site, placed=False))
    with pytest.raises(Invalid, match="has no order_email"):
        mailing.ask(make_order(site))
    assert not OrderMail.objects.exists()


def test_an_order_that_waits_is_not_doubled_and_is_sent_once(order, mailoutbox):
    assert mailing.ask(order) == mailing.ask(order)
    assert mailoutbox == []
    assert [mailing.send_due(), mailing.send_due()] == [1, 0]
    (message,) = mailoutbox
    assert message.to == ["o@supplier.example"]
    assert message.attachments[0][0] == f"{order.number}.pdf"
    assert [one[0] for one in message.attachments[1:]] == [f"{order.number}.xml"]
    order.refresh_from_db()
    assert (order.mailed_at, order.mail_error) == (NOW, "")
    mailing.ask(order)
    mailing.send_due()
    assert len({mail.extra_headers["Message-ID"] for mail in mailoutbox}) == 1
    assert len(mailoutbox) == 2


def test_a_server_that_is_down_is_tried_again_later_and_longer(
    order, mailoutbox, monkeypatch, watch
):
    refusing(monkeypatch, ConnectionRefusedError("nobody answers"), TimeoutError("silence"))
    mailing.ask(order)
    waits = []
    for _ in range(2):
        assert mailing.send_due() == 1
        mail = OrderMail.objects.get()
        assert mail.state == "waiting"
        waits.append((mail.try_at - clock.now()).total_seconds())
        assert mailing.send_due() == 0
        watch.move_to(mail.try_at)
    assert mail.error == "The mail server broke off: silence."
    assert waits == [pytest.approx(w * 1.05, rel=0.05) for w in ATTEMPT_WAITS_S[:2]]
    mailing.send_due()
    assert OrderMail.objects.get().state == "sent"
    # The second attempt broke off and may have arrived.
    assert "this is a copy of it" in mailoutbox[0].body


def test_it_is_given_up_after_the_last_wait_and_the_page_says_why(
    order, monkeypatch, watch, browser_of
):
    down = [ConnectionRefusedError("nobody answers")] * (len(ATTEMPT_WAITS_S) + 1)
    refusing(monkeypatch, *down)
    mailing.ask(order)
    while mailing.send_due():
        watch.move_to(OrderMail.objects.get().try_at)
    mail = OrderMail.objects.get()
    assert (mail.state, mail.attempts) == ("failed", 10)
    page = browser_of("purchasing").get(f"/buying/orders/{order.pk}/").content.decode()
    assert "after 10 attempts: The mail server did not take it: nobody answers." in page
    assert f"Send the PDF now to {mail.address}" in page


def test_an_address_that_is_refused_for_good_is_not_tried_again(order, monkeypatch):
    nobody = smtplib.SMTPRecipientsRefused({"o@supplier.example": (550, b"no such box")})
    refusing(monkeypatch, nobody)
    mailing.ask(order)
    mailing.send_due()
    mail = OrderMail.objects.get()
    assert (mail.state, mail.error) == ("failed", "The mail server refuses o@supplier.example.")


def test_a_worker_that_died_leaves_a_message_that_is_sent_as_a_possible_copy(
    order, mailoutbox, watch
):
    mailing.ask(order)
    dead = mailing._claim(clock.now())
    assert mailing.send_due() == 0
    watch.shift(mailing.LEASE + timedelta(seconds=1))
    assert mailing.send_due() == 1
    assert "this is a copy of it" in mailoutbox[0].body
    # The dead one wakes up: it holds nothing any more.
    mailing._put_off(dead, mailing.NotDelivered("late"))
    assert OrderMail.objects.get().state == "sent"


def test_an_order_that_ended_meanwhile_is_not_mailed(order, mailoutbox):
    mailing.ask(order)
    actions.close(order=order, reason="not needed")
    mailing.send_due()
    assert mailoutbox == []
    assert OrderMail.objects.get().error == f"{order.number} is closed."


def test_a_broker_that_is_down_does_not_undo_the_order(
    browser_of, order, monkeypatch, django_capture_on_commit_callbacks
):
    def down():
        raise ConnectionError("no broker")

    monkeypatch.setattr("shop.tasks.send_order_mails.delay", down)
    with django_capture_on_commit_callbacks(execute=True):
        browser_of("purchasing").post(f"/buying/orders/{order.pk}/mail/")
    assert OrderMail.objects.get().state == "waiting"
