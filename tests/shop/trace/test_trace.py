from decimal import Decimal

import pytest
from django.db import IntegrityError, transaction

from shared.errors import Invalid
from shop.ledger import actions
from shop.ledger.models import Movement, MovementKind
from shop.tools.actions import open_tool_record
from shop.trace import providers, queries, sides
from shop.trace.providers import Part, Use
from tests.factories.purchasing import make_order, make_pack
from tests.factories.shop import NOW, make_container, make_lot, make_material, make_tool

pytestmark = pytest.mark.django_db


class Batches:
    """Batch 1 went into tool one, batch 2 into both tools."""

    def __init__(self, one, two):
        self.of = {
            "batch:1": [Part("pour:1", "Pour 1", one.pk, Decimal(6))],
            "batch:2": [
                Part("pour:1", "Pour 1", one.pk, Decimal(1)),
                Part("pour:2", "Pour 2", two.pk, Decimal(2)),
            ],
        }

    def uses(self, counterparts):
        return {
            text: Use(text, f"Batch {text[-1]}", f"/batches/{text[-1]}/", NOW, ("Tess",),
                      (("shop", Decimal("19.5")),), tuple(self.of[text]))
            for text in counterparts
            if text in self.of
        }  # fmt: skip

    def counterparts_of(self, castings):
        return [
            text
            for text, parts in self.of.items()
            if any(part.casting in castings for part in parts)
        ]

    def castings_of(self, tool_id):
        return {p.casting for parts in self.of.values() for p in parts if p.tool_id == tool_id}


@pytest.fixture
def shop(site, monkeypatch):
    """Resin in both batches, hardener one in batch 1, hardener two in batch 2."""
    one, two = make_tool(site, code="ONE"), make_tool(site, code="TWO")
    for tool, casting in ((one, "pour:1"), (two, "pour:2")):
        open_tool_record(
            tool_id=tool.pk, half="A", casting=casting, at=NOW, verdict="accept", facts={}
        )
    monkeypatch.setattr(providers, "_providers", {"batch:": Batches(one, two)})
    resin = make_container(make_lot(site, code="RES"), holds=20)
    hard = [
        make_container(make_lot(site, make_material(kind="hardener"), code=c), holds=3)
        for c in ("H1", "H2")
    ]
    for key, can, quantity, batch in (
        ("a", resin, 5, 1), ("b", hard[0], 1, 1), ("c", resin, 2, 2), ("d", hard[1], 1, 2),
    ):  # fmt: skip
        actions.issue(
            container_id=can.pk, quantity=Decimal(quantity), key=key,
            counterpart=f"batch:{batch}", happened_at=NOW,
        )  # fmt: skip
    return one, two, resin.lot, hard[0].lot, hard[1].lot


def test_from_a_lot_to_every_tool_and_what_is_left(shop):
    _, _, resin, first, _ = shop
    trace = queries.lot_trace(resin)
    assert [(t.counterpart, t.quantity) for t in trace.taken] == [("batch:1", 5), ("batch:2", 2)]
    assert {t.code for t in trace.tools} == {"ONE", "TWO"}
    assert trace.quantity_left == 13
    assert [t.code for t in queries.lot_trace(first).tools] == ["ONE"]


def test_from_a_tool_back_to_every_lot(shop):
    one, two, *_ = shop
    assert {t.lot.code for t in queries.tool_trace(one).taken} == {"RES", "H1", "H2"}
    assert {t.lot.code for t in queries.tool_trace(two).taken} == {"RES", "H2"}


def test_what_was_undone_went_nowhere(shop):
    one, _, _, first, _ = shop
    actions.reverse(key_of_original="b", key="r", reason="wrong can", happened_at=NOW)
    assert queries.lot_trace(first).taken == ()
    assert {t.lot.code for t in queries.tool_trace(one).taken} == {"RES", "H2"}


def test_a_tool_still_being_cast_leads_to_its_lots(site, shop):
    under_way = make_tool(site, code="NEW", status="casting")
    providers._providers["batch:"].of["batch:3"] = [Part("pour:3", "P", under_way.pk, Decimal(1))]
    can = make_container(make_lot(site, code="FRESH"), holds=3)
    actions.issue(
        container_id=can.pk, quantity=Decimal(1), key="n", counterpart="batch:3", happened_at=NOW
    )
    assert [row.lot.code for row in queries.tool_trace(under_way).taken] == ["FRESH"]


def test_every_way_out_of_a_lot_is_in_its_trace_and_the_sum_is_whole(site, shop):
    can = make_container(make_lot(site, code="ALL"), holds=20)
    tool = make_tool(site, code="COATED")
    about = {"container_id": can.pk, "happened_at": NOW}
    for n, use in enumerate(("batch:2", f"tool:{tool.pk}", "other:waste of a training day")):
        actions.issue(quantity=Decimal(1), key=f"i{n}", counterpart=use, **about)
    for kind, side in (("sample", "sample"), ("scrap", "waste"), ("return", "supplier:unknown")):
        actions.take_out(
            kind=MovementKind(kind), quantity=Decimal(2), key=kind, counterpart=side, **about
        )
    actions.take_out(
        kind=MovementKind.SCRAP, quantity=Decimal(1), key="spilt", counterpart="batch:2", **about
    )
    actions.reverse(key_of_original="spilt", key="undone", reason="other can", happened_at=NOW)
    actions.adjust(
        container_id=can.pk, counted=Decimal("10.5"), expected=Decimal(11), key="counted",
        happened_at=NOW,
    )  # fmt: skip
    trace = queries.lot_trace(can.lot)
    assert [(t.counterpart, t.quantity) for t in trace.taken] == [
        ("batch:2", 1), ("other:waste of a training day", 1), (f"tool:{tool.pk}", 1),
    ]  # fmt: skip
    assert {(t.kind.value, t.quantity) for t in trace.lost} == {
        ("sample", 2), ("scrap", 2), ("return", 2), ("count", Decimal("0.5")),
    }  # fmt: skip
    out = queries.total(trace.taken) + queries.total(trace.lost)
    assert trace.received == 20 == out + trace.quantity_left


def test_what_went_onto_a_tool_is_in_its_trace(site):
    tool = make_tool(site)
    can = make_container(make_lot(site, make_material(kind="release_agent")), holds=5)
    actions.issue(
        container_id=can.pk, quantity=Decimal(1), key="coat", counterpart=f"tool:{tool.pk}",
        happened_at=NOW,
    )  # fmt: skip
    [row] = queries.tool_trace(tool).taken
    assert (row.lot, row.use.label) == (can.lot, f"Tool {tool.code}")
    assert list(queries.lot_trace(can.lot).tools) == [tool]


@pytest.mark.parametrize(
    "use",
    ["", "batch", "batch:", "batch:x", "Batch 7", "waste", "container:5", "supplier:1", "other:",
     "other: ", "order-line:5", "coat:7"],
)  # fmt: skip
def test_an_issue_for_what_the_trace_cannot_name_is_refused_also_by_the_database(site, use):
    can = make_container(make_lot(site), holds=5)
    with pytest.raises(Invalid, match="batch:7"):
        actions.issue(
            container_id=can.pk, quantity=Decimal(1), key="i", counterpart=use, happened_at=NOW
        )
    if not use.startswith(("batch:", "other:")):
        with pytest.raises(IntegrityError), transaction.atomic():
            Movement.objects.create(
                key="i", site=site, container=can, kind="issue", quantity=Decimal(-1),
                counterpart=use, happened_at=NOW, recorded_at=NOW,
            )  # fmt: skip


def test_by_rest_a_use_is_a_row_of_this_site_or_said_to_be_another(site, other_site, api):
    can = make_container(make_lot(site), holds=9)
    here, there = make_tool(site), make_tool(other_site)

    def answer(use, kind="issue"):
        body = {
            "kind": kind, "container": str(can.pk), "counterpart": use,
            "quantity": {"value": "1", "unit": "kg"},
        }  # fmt: skip
        return api("technician").post("/api/v1/movements", body)

    wrong = answer("Pot 7, the blue one")
    assert wrong.status_code == 422
    assert "other: with words" in str(wrong.data)
    for use in ("batch:999999", f"tool:{there.pk}"):
        missing = answer(use)
        assert missing.status_code == 422, use
        assert "no such" in str(missing.data)
    assert answer("mine", "scrap").status_code == 422
    assert answer("supplier:999", "return").status_code == 422
    for use in (f"tool:{here.pk}", "other:training"):
        assert answer(use).status_code == 201, use
    assert answer("waste", "scrap").status_code == 201
    seen = api("quality").get("/api/v1/trace", {"lot": can.lot_id}).data
    assert [row["counterpart"] for row in seen["taken"]] == [f"tool:{here.pk}", "other:training"]
    assert [row["kind"] for row in seen["lost"]] == ["scrap"]


def test_a_delivery_that_was_undone_went_into_no_casting(site):
    can = make_container(make_lot(site))
    about = {"happened_at": NOW, "counterpart": "order-line:5"}
    actions.receive(container_id=can.pk, quantity=Decimal(25), key="in", **about)
    actions.reverse(key_of_original="in", key="out", reason="not ours", happened_at=NOW)
    trace = queries.lot_trace(can.lot)
    assert (trace.received, trace.taken, trace.lost) == (0, (), ())


def test_a_code_on_a_label_is_never_taken_for_an_id(shop, browser_of, site):
    resin = shop[2]
    client = browser_of("quality")
    make_container(make_lot(site, code=str(resin.pk)), holds=1, code="CAN-1")
    named = client.get(f"/trace/?code={resin.pk}", follow=True)
    assert f"Trace of lot {resin.pk}<" in named.content.decode()
    by_can = client.get("/trace/?code=CAN-1", follow=True)
    assert by_can.redirect_chain == named.redirect_chain
    unknown = client.get("/trace/?code=NOPE").content.decode()
    assert "No lot, can or tool here carries the code NOPE" in unknown
    assert client.get("/trace/?lot=NOPE").status_code == 404


def test_lots_of_one_code_are_offered_and_none_is_guessed(browser_of, site, other_site):
    for name in ("Blue", "Red"):
        make_lot(site, make_material(name=name), code="7A")
    make_lot(other_site, code="7A")
    page = browser_of("quality").get("/trace/?code=7A").content.decode()
    assert "2 lots carry that code" in page
    assert "Blue" in page
    assert "Red" in page


def test_the_other_side_of_every_movement_has_a_name(site, shop, count_queries):
    pack = make_pack()
    line = make_order(site, pack, packs=2, days=3).lines.get()
    can = make_container(make_lot(site), code="CAN-9")
    texts = [
        f"supplier:{pack.supplier_id}", line.counterpart, f"container:{can.pk}", "batch:2",
        "supplier:unknown", "waste", "sample", "count-difference", "order-line:9", "coat:x",
        "a:1:2",
    ]  # fmt: skip
    found = sides.sides(texts)
    assert [found[text].label for text in texts] == [
        pack.supplier.name, f"{line.order.number}, {pack.supplier}", "CAN-9", "Batch 2",
        "supplier not recorded", "waste", "sample", "difference at a count", "order-line:9",
        "coat:x", "a:1:2",
    ]  # fmt: skip
    assert found[line.counterpart].url == f"/buying/orders/{line.order_id}/"
    assert sides.purposes(["batch:2:7"])["batch:2:7"].label == "Batch 2"
    more = [*texts, *(f"supplier:{n}" for n in range(50)), *(f"container:{n}" for n in range(50))]
    assert count_queries(lambda: sides.sides(more)) == 3


def test_a_recall_holds_every_lot_that_touched_it_and_no_other(shop, api, site):
    _, _, resin, first, second = shop
    other = make_lot(site)
    answer = api("quality").post(
        "/api/v1/recalls", {"lot": str(second.pk), "reason": "supplier's notice"}
    )
    assert answer.status_code == 201, answer.data
    assert {row["code"] for row in answer.data["lots"]} == {"RES", "H1", "H2"}
    for lot in (resin, first, second, other):
        lot.refresh_from_db()
    assert [lot.status for lot in (resin, first, second, other)] == ["held"] * 3 + ["released"]


def test_the_trace_as_one_call_and_one_page(shop, api, browser_of):
    one, _, resin, *_ = shop
    forward = api("quality").get("/api/v1/trace", {"lot": resin.pk})
    assert forward.status_code == 200
    assert [t["code"] for t in forward.data["tools"]] == ["ONE", "TWO"]
    assert forward.data["taken"][1]["castings"][1]["tool"] == str(shop[1].pk)
    back = api("quality").get("/api/v1/trace", {"tool": one.pk})
    assert {row["lot_code"] for row in back.data["taken"]} == {"RES", "H1", "H2"}
    assert back.data["taken"][0]["temperatures_c"] == {"shop": "19.5"}
    assert api("quality").get("/api/v1/trace").status_code == 400
    assert api("quality").get("/api/v1/trace", {"lot": 10**6}).status_code == 404
    client = browser_of("quality")
    for address in ("/trace/", f"/trace/?code={resin.code}", f"/trace/?tool={one.pk}"):
        assert client.get(address, follow=True).status_code == 200, address
    page = client.get(f"/trace/?lot={resin.pk}").content.decode()
    assert "ONE" in page
    assert "Tess" in page
    figures = " ".join(
        page.split("<dl")[1].split("</dl>")[0].replace("\N{NO-BREAK SPACE}", " ").split()
    )
    assert figures.count(">7.000 kg<") == 1
    assert ">20.000 kg<" in figures
    assert ">2<" in figures
    client.post("/trace/recall/", {"lot": resin.pk, "reason": "cracked"})
    resin.refresh_from_db()
    assert resin.status == "held"


def test_the_trace_asks_as_often_for_many_uses_as_for_few(shop, queries_of_lot):
    resin = shop[2]
    assert resin.site
    few = queries_of_lot(resin)
    can = resin.containers.get()
    for n in range(8):
        actions.issue(
            container_id=can.pk, quantity=Decimal(1), key=f"x{n}", counterpart=f"batch:{n}",
            happened_at=NOW,
        )  # fmt: skip
    assert queries_of_lot(resin) == few


@pytest.fixture
def queries_of_lot(queries):
    from shop.trace.queries import lot_trace

    return lambda lot: queries(lambda: lot_trace(lot))
