from decimal import Decimal

import pytest

from shop.ledger import actions
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


def test_a_delivery_that_was_undone_went_into_no_casting(site):
    can = make_container(make_lot(site))
    about = {"happened_at": NOW, "counterpart": "order-line:5"}
    actions.receive(container_id=can.pk, quantity=Decimal(25), key="in", **about)
    actions.reverse(key_of_original="in", key="out", reason="not ours", happened_at=NOW)
    assert queries.lot_trace(can.lot).taken == ()


def test_a_code_on_a_label_is_never_taken_for_an_id(shop, browser_of, site):
    resin = shop[2]
    client = browser_of("quality")
    make_container(make_lot(site, code=str(resin.pk)), holds=1, code="CAN-1")
    named = client.get(f"/trace/?code={resin.pk}", follow=True)
    assert f"Trace of lot {resin.pk}<" in named.content.decode()
    by_can = client.get("/trace/?code=CAN-1", follow=True)
    assert by_can.redirect_chain == named.redirect_chain
    unknown = client.get("/trace/?code=NOPE").content.decode()
    assert "No lot or container here carries the code" in unknown
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
    assert "<dd>7.000 kg</dd>" in figures
    assert "<dd>2</dd>" in figures
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
