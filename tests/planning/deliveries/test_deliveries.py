"""Castings leave the shop with a note, once, when they are ready, and come back by another."""

from datetime import timedelta

import pytest
from django.db import IntegrityError, transaction

from planning.deliveries import actions, queries
from planning.deliveries.models import DeliveryLine, DeliveryNote
from planning.pours.models import Pour, ToolOrder
from shared import clock
from shared.access.models import User
from shared.errors import Invalid, ShopError
from shared.events.models import Event
from shop.models import Tool
from tests.callers import caller, make_user
from tests.planning.deliveries.random_history import quarantine

pytestmark = pytest.mark.django_db
HOUR = timedelta(hours=1)


@pytest.fixture
def send(shop_site, now):
    def one(*pours, key="one", **more):
        values = {"address": "Dock 3\nInvented town", "now": now + HOUR, **more}
        return actions.send(site=shop_site, pours=pours, key=key, **values)

    return one


@pytest.fixture
def back(now):
    def one(note, key="back", **more):
        values = {"reason": "wrong address", "now": now + 2 * HOUR, **more}
        return actions.take_back(note=note, key=key, **values)

    return one


def kinds():
    rows = Event.objects.filter(kind__startswith="tool.ship").order_by("pk")
    return [(event.kind, event.payload["new"]["all_sent"]) for event in rows]


def test_a_note_says_who_when_what_whereto_and_how(ready, send, now):
    by = User.objects.get(username="petra")
    note = send(
        ready(), carrier="Own van", carrier_reference="V-7", packages=2, by=by, remarks="fragile"
    )
    assert note.number == f"DN-{note.pk}"
    assert (note.recipient, note.address) == ("Invented customer", "Dock 3\nInvented town")
    assert (note.at, note.by, note.packages) == (now + HOUR, by, 2)
    assert Pour.objects.get().sent
    event = Event.objects.latest("pk")
    assert event.kind == "tool.shipped"
    assert event.payload["delivery_note_number"] == note.number
    assert event.payload["new"] == {
        "halves": ["A"], "all_sent": True, "recipient": "Invented customer",
        "carrier": "Own van", "carrier_reference": "V-7",
    }  # fmt: skip


def test_a_repeat_returns_the_first_note_and_other_castings_are_refused(ready, send):
    first, second = ready(), ready("T-2")
    note = send(first)
    assert send(first) == note
    assert DeliveryLine.objects.count() == 1
    with pytest.raises(ShopError, match="lists other castings") as refused:
        send(second)
    assert refused.value.code == "key_reused"


def test_the_next_note_goes_where_the_last_went(ready, send):
    first, second = ready(), ready("T-2")
    with pytest.raises(Invalid, match="nothing was sent to Invented customer before"):
        send(first, address="")
    send(first)
    assert send(second, key="two", address="").address == "Dock 3\nInvented town"
    third = ready("T-3", customer="")
    with pytest.raises(Invalid, match="say to whom it goes"):
        send(third, key="three")


def test_parts_go_first_and_each_order_hears_of_its_own(take, ready, send, now):
    first = ready()
    Pour.objects.create(
        order=first.order, half="B", system=first.system, depth_mm=30, volume_l=1, mass_kg=2,
        due_on=first.due_on, status="curing",
    )  # fmt: skip
    send(first, ready("T-2"))
    assert kinds() == [("tool.shipped", False), ("tool.shipped", True)]
    numbers = Event.objects.filter(kind="tool.shipped").values_list("payload__number", flat=True)
    assert sorted(numbers) == ["T-1", "T-2"]


def hold(pour):
    ToolOrder.objects.filter(pk=pour.order_id).update(
        held_at="2026-11-30T05:00:00Z", held_reason="not paid"
    )


UNREADY = {
    "it is asked for; it must be cured": lambda p: Pour.objects.update(status="asked"),
    "it is curing; it must be cured": lambda p: Pour.objects.update(status="curing"),
    "on hold \\(not paid\\)": hold,
    "it is in quarantine": quarantine,
    "is retired": lambda p: Tool.objects.filter(pk=p.order.tool_id).update(status="retired"),
    "is under repair": lambda p: Tool.objects.filter(pk=p.order.tool_id).update(status="repair"),
    "steps are not signed \\(Clean and look over": lambda p: p.steps.filter(
        name__startswith="Clean and look"
    ).update(done_at=None),
    "was rejected": lambda p: type(p.demould).objects.update(verdict="reject"),
    "to be reworked": lambda p: (
        type(p.demould).objects.update(verdict="rework"),
        Tool.objects.filter(pk=p.order.tool_id).update(status="casting"),
    ),
}


@pytest.mark.parametrize("words", UNREADY)
def test_what_is_not_ready_stays_and_says_why(ready, send, shop_site, words):
    pour, other = ready(), ready("T-2")
    assert set(queries.ready(shop_site.pk)) == {pour, other}
    UNREADY[words](pour)
    with pytest.raises(actions.NotReady, match=words):
        send(pour)
    with pytest.raises(actions.NotReady, match=words):
        send(Pour.objects.get(order__number="T-2"), pour)
    assert pour not in queries.ready(shop_site.pk)
    assert not DeliveryNote.objects.exists()
    assert kinds() == []


def test_a_reworked_casting_goes_once_its_tool_is_back_in_use(ready, send, shop_site):
    pour = ready(verdict="rework")
    assert not queries.ready(shop_site.pk)
    Tool.objects.filter(pk=pour.order.tool_id).update(status="in_service")
    assert list(queries.ready(shop_site.pk)) == [pour]
    assert send(pour)


def test_nothing_is_sent_twice(ready, send):
    pour = ready()
    send(pour)
    with pytest.raises(actions.NotReady, match="with the customer already"):
        send(pour, key="two")


@pytest.mark.parametrize(
    ("names", "code"), [("", "empty"), ("T-1 T-1", "repeated"), ("T-1 T-2", "other_customer")]
)
def test_lists_that_make_no_sense_are_refused_by_field(ready, send, names, code):
    rows = {"T-1": ready(), "T-2": ready("T-2", customer="Somebody else")}
    with pytest.raises(Invalid) as refused:
        send(*(rows[name] for name in names.split()))
    assert refused.value.problems[0].code == code
    assert refused.value.problems[0].pointer.startswith("#/pours")


def test_what_came_back_may_go_again_and_nothing_is_edited(ready, send, back):
    first, second = ready(), ready("T-2")
    note = send(first, second)
    returned = back(note, pours=[first])
    assert (returned.kind, returned.takes_back, returned.reason) == (
        "returned", note, "wrong address",
    )  # fmt: skip
    assert back(note, pours=[first]) == returned, "a repeat"
    assert Pour.objects.get(pk=second.pk).sent
    again = send(Pour.objects.get(pk=first.pk), key="two")
    lines = DeliveryLine.objects.filter(pour=first).order_by("turn")
    assert [(line.turn, line.quantity, line.note) for line in lines] == [
        (1, 1, note), (2, -1, returned), (3, 1, again),
    ]  # fmt: skip
    with pytest.raises(ShopError, match="T-1 A is not away") as refused:
        back(note, pours=[first], key="more")
    assert refused.value.code == "not_away"
    back(note, key="the rest")
    with pytest.raises(ShopError, match="Nothing is away"):
        back(note, key="none")
    with pytest.raises(Invalid, match="say why"):
        back(again, reason="  ", key="x")
    assert Event.objects.filter(kind="tool.shipment_taken_back").count() == 2


def test_nothing_leaves_before_it_is_off_or_comes_back_before_it_left(ready, send, back, now):
    pour = ready()
    with pytest.raises(Invalid, match="before T-1 A was taken off"):
        send(pour, at=now - HOUR)
    with pytest.raises(Invalid, match="must not be in the future"):
        send(pour, at=now + 9 * HOUR)
    note = send(pour)
    with pytest.raises(Invalid, match=f"before {note} was sent"):
        back(note, at=now)


def refused_by_the_database(write):
    with pytest.raises(IntegrityError), transaction.atomic():
        write()


def test_the_database_itself_lets_nothing_away_twice_or_unready(ready, send, take, now):
    pour = ready()
    note = send(pour)
    other = DeliveryNote.objects.create(
        site=note.site, key="raw", at=now, recorded_at=now, recipient="X", address="Y"
    )
    line = note.lines.get()
    for turn, quantity, takes_back in (
        (1, 1, None), (2, 1, None), (3, -1, line), (2, -1, None), (0, -1, line), (3, 1, line),
    ):  # fmt: skip
        refused_by_the_database(
            lambda t=turn, q=quantity, b=takes_back: DeliveryLine.objects.create(
                note=other, pour=pour, turn=t, quantity=q, takes_back=b
            )
        )
    unready = take("T-9")
    refused_by_the_database(lambda: Pour.objects.filter(pk=unready.pk).update(sent=True))
    refused_by_the_database(lambda: Pour.objects.filter(pk=pour.pk).update(status="curing"))
    for rows in (DeliveryNote.objects.all(), DeliveryLine.objects.all()):
        refused_by_the_database(lambda r=rows: r.update(id=777))
        refused_by_the_database(lambda r=rows: r._raw_delete("default"))


@pytest.fixture
def office(client, shop_site, now, monkeypatch):
    monkeypatch.setattr(clock, "now", lambda: now + HOUR)
    client.force_login(User.objects.get(username="petra"))
    return client


def test_by_page_from_the_order_to_the_paper_and_back(ready, take, office):
    pour = ready()
    take("T-2")
    page = office.get(f"/orders/{pour.order_id}/").content.decode()
    assert f"/deliveries/new/?order={pour.order_id}" in page
    form = office.get(f"/deliveries/new/?order={pour.order_id}").context["form"]
    body = {name: form[name].value() or "" for name in form.fields}
    assert body["pours"] == [pour.pk]
    bad = office.post("/deliveries/new/", body)
    assert bad.status_code == 422
    assert "say where it goes" in bad.content.decode()
    assert list(bad.context["form"].fields["pours"].queryset) == [pour], "what is not ready"
    body |= {"address": "Dock 3", "packages": "1", "carrier": "Own van"}
    for _ in range(2):  # a form sent twice is one delivery
        answer = office.post("/deliveries/new/", body)
        assert answer.status_code == 302, answer.content
    note = DeliveryNote.objects.get()
    assert note.number in office.get("/deliveries/?q=Invented").content.decode()
    paper = office.get(f"/deliveries/{note.pk}/paper/").content.decode()
    assert "Dock 3" in paper
    assert "Received in order" in paper
    page = office.get(f"/orders/{pour.order_id}/").content.decode()
    assert note.number in page
    assert "Sent to the customer" in page
    one = office.get(f"/deliveries/{note.pk}/")
    back = {name: one.context["form"][name].value() or "" for name in one.context["form"].fields}
    assert office.post(f"/deliveries/{note.pk}/back/", {**back, "reason": ""}).status_code == 422
    answer = office.post(f"/deliveries/{note.pk}/back/", {**back, "reason": "never left"})
    assert answer.status_code == 302
    assert "never left" in office.get(answer["Location"]).content.decode()
    assert "CAME BACK" in office.get(f"/deliveries/{note.pk}/paper/").content.decode()


def test_by_rest(ready, take, shop_site, now, monkeypatch, django_assert_max_num_queries):
    monkeypatch.setattr(clock, "now", lambda: now + HOUR)
    pour, second, asked = ready(), ready("T-2"), take("T-3")
    calls = caller(make_user("integration", shop_site), [shop_site])
    path = "/api/v1/delivery-notes"
    tag = calls.get(f"/api/v1/tool-orders/{pour.order_id}")["ETag"]
    body = {"pours": [str(pour.pk)], "address": "Dock 3", "client_reference": "ASN-1"}
    made = calls.post(path, body, format="json")
    assert made.status_code == 201, made.json()
    note = made.json()
    assert note["lines"][0]["order_number"] == "T-1"
    assert note["recipient"] == "Invented customer"
    assert calls.post(path, body, format="json").json()["id"] == note["id"]
    order = calls.get(f"/api/v1/tool-orders/{pour.order_id}")
    assert order["ETag"] != tag
    assert order.json()["shipped"] == "all"
    assert order.json()["pours"][0]["sent"] is True
    assert order.json()["delivery_notes"] == [
        {"id": note["id"], "number": note["number"], "kind": "sent", "at": note["at"],
         "halves": ["A"], "carrier": "", "carrier_reference": ""}
    ]  # fmt: skip
    refused = calls.post(path, {"pours": [str(asked.pk)], "address": "Dock 3"}, format="json")
    assert (refused.status_code, refused.json()["code"]) == (409, "casting_not_ready")
    assert calls.post(path, {"pours": []}, format="json").status_code == 422
    calls.post(path, {"pours": [str(second.pk)]}, format="json")
    with django_assert_max_num_queries(16):
        rows = calls.get(path).json()["items"]
    assert len(rows) == 2
    for query in (f"order={pour.order_id}", "recipient=Nobody", "order_reference=none"):
        found = calls.get(f"{path}?{query}").json()["items"]
        assert [row["id"] for row in found] == ([note["id"]] if "=Nobody" not in query and "none"
                                                not in query else [])  # fmt: skip
    assert calls.get("/api/v1/pours?sent=true").json()["items"][0]["id"] == str(pour.pk)
    back = calls.post(f"{path}/{note['id']}/returns", {"reason": "damaged"}, format="json")
    assert back.status_code == 201, back.json()
    assert back.json()["takes_back"] == note["id"]
    assert calls.get(f"{path}/{note['id']}").json()["lines"][0]["taken_back"] is True
    assert calls.get(f"/api/v1/tool-orders/{pour.order_id}").json()["shipped"] == "none"
    assert calls.patch(f"{path}/{note['id']}", {}, format="json").status_code == 405
