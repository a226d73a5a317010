"""
Orders to suppliers by e-mail: a row is written with the order, and a worker sends what is due.

The row is the truth. The worker is told at once, and looks by itself every half minute, so a
lost message of the broker loses no order. A message is claimed with a lease; one whose worker
died is sent again under the same Message-ID and says that it may be a copy.
"""

from __future__ import annotations

import logging
import random
import secrets
import smtplib
from datetime import datetime, timedelta

from django.core.mail import EmailMessage
from django.db import transaction
from django.db.models import F, OuterRef, Q, Subquery
from django.urls import reverse

from shared import clock
from shared.errors import Invalid
from shared.mail.backend import OFF, MailOff, is_on, sender
from shared.mail.unsent import MOST_LISTED, Unsent
from shared.outgoing.webhook import ATTEMPT_WAITS_S, NotDelivered
from shared.retry import retried
from shared.send import send
from shared.ubl.writing import write
from shop.purchasing.documents import order_document
from shop.purchasing.errors import OrderState
from shop.purchasing.models import MailState, OrderMail, OrderStatus, PurchaseOrder
from shop.purchasing.papers import order_pdf

LEASE = timedelta(minutes=5)
"""Longer than the mail server may keep silent (15 s) many times over."""
M = MailState
log = logging.getLogger(__name__)


def check_mailable(order: PurchaseOrder) -> None:
    """
    Refuse an order that can't go out by e-mail.

    Raises
    ------
    OrderState
        If it is not ordered yet, or ended.
    Invalid
        If the supplier has no address for orders, or no mail leaves the shop.
    """
    if order.status not in (OrderStatus.ORDERED, OrderStatus.CONFIRMED):
        raise OrderState(f"{order} is {order.get_status_display().lower()}; order it first.")
    check_address(order)


def check_address(order: PurchaseOrder) -> None:
    """Refuse an order whose supplier has no address for orders, and any while no mail leaves."""
    if not order.supplier.order_email:
        words = f"{order.supplier} has no order_email; enter it, or send the PDF another way."
        raise Invalid.one("order_email", "required", words)
    if not is_on():
        raise Invalid.one("mail", "mail_off", f"{OFF} Or send the PDF another way.")


@retried
def ask(order: PurchaseOrder) -> OrderMail:
    """Write down that an order shall be mailed; one that waits already is not doubled."""
    PurchaseOrder.objects.select_for_update(no_key=True).get(pk=order.pk)
    check_mailable(order)
    now = clock.now()
    waiting = OrderMail.objects.filter(order=order, state__in=[M.WAITING, M.SENDING]).first()
    if waiting is not None:
        # Somebody asks again: the next attempt is made now.
        waiting_now = OrderMail.objects.filter(pk=waiting.pk, state=M.WAITING)
        waiting_now.update(try_at=now, address=order.supplier.order_email)
        waiting.refresh_from_db()
    else:
        address = order.supplier.order_email
        waiting = OrderMail.objects.create(order=order, address=address, asked_at=now, try_at=now)
    # A broker that is down must not undo the order; the worker finds the row by itself.
    transaction.on_commit(_tell_worker, robust=True)
    return waiting


def _tell_worker() -> None:
    send("shop.tasks.send_order_mails")


def send_due(most: int = 50) -> int:
    """Send what is due and free; returns how many messages were handled."""
    done = 0
    while done < most and (mail := _claim(clock.now())) is not None:
        _send(mail)
        done += 1
    return done


def _claim(now: datetime) -> OrderMail | None:
    """Take one message that is due, or whose worker's lease has run out."""
    lapsed = Q(state=M.SENDING, lease_until__lt=now)
    due = OrderMail.objects.filter(Q(state=M.WAITING, try_at__lte=now) | lapsed)
    for mail in due.order_by("try_at", "id")[:20]:
        worker = secrets.token_hex(8)
        # Only one of several workers finds the number of attempts still as it was read.
        mine = due.filter(pk=mail.pk, attempts=mail.attempts).update(
            state=M.SENDING,
            claimed_by=worker,
            lease_until=now + LEASE,
            attempts=F("attempts") + 1,
            doubtful=mail.doubtful or mail.state == M.SENDING,
        )
        if mine:
            rows = OrderMail.objects.select_related("order__supplier", "order__site")
            return rows.get(pk=mail.pk)
    return None


def _send(mail: OrderMail) -> None:
    order = mail.order
    try:
        if order.status not in (OrderStatus.ORDERED, OrderStatus.CONFIRMED):
            words = f"{order} is {order.get_status_display().lower()}."
            raise NotDelivered(words, final=True)
        if mail.attempts > len(ATTEMPT_WAITS_S) + 1:
            raise NotDelivered("Given up: its worker died too often.", final=True)
        _hand_over(mail)
    except NotDelivered as failure:
        _put_off(mail, failure)
        return
    if _finish(mail, state=M.SENT, sent_at=clock.now(), error=""):
        PurchaseOrder.objects.filter(pk=order.pk).update(mailed_at=clock.now(), mail_error="")


def _hand_over(mail: OrderMail) -> None:
    """Give the message to the mail server; it has one id for each order, copies included."""
    order = mail.order
    domain = sender().rpartition("@")[2].strip("> ") or "localhost"
    copy = "If you have this order already, this is a copy of it.\n\n" if mail.doubtful else ""
    message = EmailMessage(
        subject=f"Purchase order {order.number} from {order.site.name}",
        body=(
            f"{copy}Please find our purchase order {order.number} attached, as PDF and as UBL 2.1 "
            "for your programs.\n\n"
            "Please confirm it with the days of delivery and quote its number.\n"
        ),
        from_email=sender(),
        to=[mail.address],
        headers={"Message-ID": f"<{order.number}@{domain}>"},
    )
    message.attach(f"{order.number}.pdf", order_pdf(order), "application/pdf")
    if (document := _as_document(order)) is not None:
        message.attach(f"{order.number}.xml", document, "application/xml")
    try:
        message.send()
    except MailOff as error:
        raise NotDelivered(OFF, final=True) from error
    except smtplib.SMTPRecipientsRefused as error:
        codes = [code for code, _ in error.recipients.values()]
        words = f"The mail server refuses {mail.address}."
        raise NotDelivered(words, final=all(code >= 500 for code in codes)) from error
    except (smtplib.SMTPServerDisconnected, TimeoutError) as error:
        raise NotDelivered(f"The mail server broke off: {error}.", doubtful=True) from error
    except (smtplib.SMTPException, OSError) as error:
        raise NotDelivered(f"The mail server did not take it: {error}.") from error


def _as_document(order: PurchaseOrder) -> bytes | None:
    """Return the order as UBL for the supplier's programs; none where it cannot be told so."""
    try:
        return write(order_document(order))
    except Invalid as error:
        log.warning("%s is mailed without its UBL document: %s", order, error.message)
        return None


def _put_off(mail: OrderMail, failure: NotDelivered) -> None:
    """Try again later, longer each time, or give up and let it be seen."""
    error = failure.words[:300]
    doubtful = mail.doubtful or failure.doubtful
    if failure.final or mail.attempts > len(ATTEMPT_WAITS_S):
        held = _finish(mail, state=M.FAILED, error=error, doubtful=doubtful)
    else:
        wait_s = ATTEMPT_WAITS_S[mail.attempts - 1] * random.uniform(1, 1.1)
        try_at = clock.now() + timedelta(seconds=wait_s)
        held = _finish(mail, state=M.WAITING, error=error, doubtful=doubtful, try_at=try_at)
    if held:
        PurchaseOrder.objects.filter(pk=mail.order_id).update(mail_error=error)
        log.warning("%s was not mailed, attempt %d: %s", mail.order, mail.attempts, error)


def _finish(mail: OrderMail, **values: object) -> int:
    """Write the next state and let go, if this worker still holds the message."""
    held = OrderMail.objects.filter(pk=mail.pk, state=M.SENDING, claimed_by=mail.claimed_by)
    return held.update(claimed_by="", lease_until=None, **values)


def unsent_orders(site_id: int) -> list[Unsent]:
    """Return orders whose newest mail the server did not take."""
    newest = OrderMail.objects.filter(order=OuterRef("order")).order_by("-id").values("pk")[:1]
    bad = Q(state=M.FAILED) | Q(state=M.WAITING, attempts__gt=0)
    rows = (
        OrderMail.objects.filter(bad, order__site=site_id, pk=Subquery(newest))
        .select_related("order")
        .order_by("-id")[:MOST_LISTED]
    )
    return [
        Unsent(
            since=mail.asked_at,
            about=f"Purchase order {mail.order.number}",
            to=mail.address,
            error=mail.error,
            given_up=mail.state == M.FAILED,
            path=reverse("purchase-order", args=[mail.order_id]),
        )
        for mail in rows
    ]
