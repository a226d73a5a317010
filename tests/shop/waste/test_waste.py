"""The record of hazardous waste: from the ledger and by hand, withdrawn, traced, handed out."""

import csv
import io
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest
from django.db import DatabaseError, transaction

from shared.errors import Invalid
from shop.errors import KeyReused
from shop.ledger import actions as ledger
from shop.trace.queries import lot_trace, tool_trace
from shop.waste import queries
from shop.waste.actions import enter, withdraw
from shop.waste.models import WasteEntry
from tests.factories.shop import NOW, make_container, make_lot, make_material, make_tool

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen")]
D, DAY = Decimal, timedelta(days=1)
FIRST, LAST = date(2026, 11, 1), date(2026, 11, 30)


def scrap(can, quantity, key="s", at=NOW, reason="thick"):
    return ledger.take_out(
        kind="scrap", container_id=can.pk, quantity=D(quantity), key=key, counterpart="waste",
        happened_at=at, reason=reason,
    )  # fmt: skip


def put(site, kind="wipes", mass="0.5", key="w", **values):
    return enter(site=site, kind=kind, mass_kg=D(mass), key=key, **values)


def of_month(site):
    return queries.record(site, FIRST, LAST)


class TestFromTheLedger:
    def test_scrap_stands_in_the_record_by_itself_and_expired_lots_are_told_apart(self, site):
        resin = make_material(hazard_statements=["H317"])
        old = make_container(make_lot(site, resin, expires_on=date(2026, 11, 24)), holds=5)
        good = make_container(make_lot(site, resin), holds=5)
        scrap(old, 2)
        scrap(good, 1, "g", NOW - DAY)
        scrap(good, 4, "x")
        ledger.reverse(key_of_original="x", key="u", reason="wrong can", happened_at=NOW)
        rows = of_month(site)
        assert [(row.kind, row.mass_kg, row.lot) for row in rows] == [
            ("scrapped", D(1), good.lot), ("expired", D(2), old.lot),
        ]  # fmt: skip
        assert {row.hazards for row in rows} == {"H317"}

    def test_litres_weigh_by_their_density_and_what_is_not_known_is_said(self, site):
        wax = make_material(unit="L", density_kg_l=D("0.8"))
        scrap(make_container(make_lot(site, wax), holds=5), 2)
        scrap(make_container(make_lot(site, make_material(unit="L")), holds=5), 2, "b")
        assert [row.mass_kg for row in of_month(site)] == [D("1.6"), None]
        [total] = queries.totals(of_month(site))
        assert (total.kind, total.mass_kg, total.lines, total.unknown) == (
            "scrapped", D("1.6"), 2, 1,
        )  # fmt: skip
        assert "look at the safety data sheet" in of_month(site)[0].hazards

    def test_the_month_is_that_of_the_site_and_its_ends_count(self, site):
        can = make_container(make_lot(site), holds=5, came=NOW - 90 * DAY)
        midnight = datetime(2026, 10, 31, 23, tzinfo=UTC)  # in Berlin
        scrap(can, 1, "before", midnight - timedelta(minutes=1))
        scrap(can, 1, "after", midnight)
        assert len(of_month(site)) == 1


class TestByHand:
    def test_an_entry_counts_until_it_is_withdrawn_and_a_late_one_is_marked(self, site):
        wipes = put(site, at=NOW - 2 * DAY, words="bin 2")
        put(site, "residue", "1.25", "r")
        assert [(row.kind, row.late) for row in of_month(site)] == [
            ("wipes", True), ("residue", False),
        ]  # fmt: skip
        withdraw(entry=wipes, words="was another month")
        assert [row.kind for row in of_month(site)] == ["residue"]
        with pytest.raises(Invalid, match="withdrawn already"):
            withdraw(entry=wipes, words="again")
        with pytest.raises(DatabaseError), transaction.atomic():
            WasteEntry.objects.update(mass_kg=2)

    def test_a_repeat_is_kept_once(self, site):
        first = put(site)
        assert put(site) == first
        with pytest.raises(KeyReused):
            put(site, mass="0.6")

    @pytest.mark.parametrize(
        ("values", "words"),
        [
            ({"kind": "paint"}, "must be one of residue"),
            ({"kind": "other"}, "say what it is"),
            ({"mass": "0"}, "give above 0 and below 10,000 kg"),
            ({"mass": "10000"}, "below 10,000 kg"),
            ({"mass": "0.00001"}, "to 0.0001 kg"),
            ({"counterpart": "batch:99"}, "left over from as batch:7"),
            ({"at": NOW + DAY}, "must not be in the future"),
        ],
    )
    def test_what_makes_no_sense_is_refused_by_its_field(self, site, values, words):
        with pytest.raises(Invalid, match=words):
            put(site, **values)
        assert not WasteEntry.objects.exists()

    def test_nothing_of_another_site_is_named(self, site, other_site):
        with pytest.raises(Invalid, match="another site"):
            put(site, lot=make_lot(other_site))
        with pytest.raises(Invalid, match="of this site"):
            put(site, counterpart=f"tool:{make_tool(other_site).pk}")


def test_the_trace_of_lot_and_tool_shows_it(site, api, browser_of):
    tool, lot = make_tool(site), make_lot(site)
    can = make_container(lot, holds=5)
    ledger.issue(container_id=can.pk, quantity=D(1), key="i", counterpart=f"tool:{tool.pk}",
                 happened_at=NOW)  # fmt: skip
    own = put(site, "residue", lot=lot)
    of_tool = put(site, key="t", counterpart=f"tool:{tool.pk}")
    gone = put(site, key="g", lot=lot)
    withdraw(entry=gone, words="twice")
    assert {row.entry for row in lot_trace(lot).waste} == {own, of_tool}
    assert [row.entry for row in tool_trace(tool).waste] == [of_tool]
    told = api().get(f"/api/v1/trace?lot={lot.pk}").data["waste"]
    assert {row["entry"] for row in told} == {str(own.pk), str(of_tool.pk)}
    page = browser_of("quality").get(f"/trace/?lot={lot.pk}").content.decode()
    assert "Residues, wipes and the like" in page


def test_page_file_and_rest_say_the_same(site, api, browser_of):
    client, page = api("technician"), browser_of("technician")
    lot = make_lot(site)
    body = {"kind": "wipes", "mass_kg": "0.5000", "lot": str(lot.pk), "words": "bin 2"}
    made = client.post("/api/v1/waste-entries", body)
    assert made.status_code == 201, made.data
    typed = {"key": "k", "kind": "solvent", "mass_kg": "2.5", "code": lot.code,
             "at": "2026-11-20T08:00"}  # fmt: skip
    page.post("/stock/waste/add/", typed)
    page.post("/stock/waste/add/", typed)
    record = client.get("/api/v1/waste-record?month=2026-11").data
    assert record["totals"] == [
        {"kind": "wipes", "mass_kg": "0.5000", "lines": 1, "lines_of_unknown_mass": 0},
        {"kind": "solvent", "mass_kg": "2.5000", "lines": 1, "lines_of_unknown_mass": 0},
    ]
    shown = page.get("/stock/waste/?month=2026-11").content.decode()
    assert "bin 2" in shown
    assert "safety data sheets and local law" in shown
    file = page.get("/stock/waste.csv?month=2026-11").content.decode("utf-8-sig")
    told = list(csv.DictReader(io.StringIO(file)))
    assert [(r["day"], r["kind"], r["mass_kg"], r["lot"]) for r in told] == [
        ("2026-11-20", "Used solvent or cleaner", "2.5000", lot.code),
        ("2026-11-25", "Wipes, gloves, brushes", "0.5000", lot.code),
    ]
    where = f"/api/v1/waste-entries/{made.data['id']}/withdrawals"
    assert client.post(where, {"words": "twice"}).data["withdrawn"] == "twice"
    other = WasteEntry.objects.get(kind="solvent")
    page.post(f"/stock/waste/{other.pk}/withdraw/", {"words": "other month"})
    assert client.get("/api/v1/waste-record").data["items"] == []
    assert client.get("/api/v1/waste-record?month=13").status_code == 400
