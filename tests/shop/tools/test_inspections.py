"""Inspection by date and checklist, drift, repair with lots, retirement, entries withdrawn."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError
from django.db import DatabaseError, IntegrityError, transaction

from shared.errors import Invalid
from shop.errors import LotHeld, Refused
from shop.ledger.audit import differences
from shop.tools.actions import add_event
from shop.tools.due import tools_due
from shop.tools.inspecting import CheckpointsLeftOut, Finding, OutsideTolerance
from shop.tools.inspection_models import Checkpoint, RetirementReason, ToolFinding
from shop.tools.life import states
from shop.tools.models import Tool, ToolEvent
from shop.tools.repairing import Used, withdraw
from shop.tools.upkeep import drifts_of, due_on_day, upkeep
from shop.trace.queries import lot_trace, tool_trace
from tests.factories.shop import (
    NOW,
    make_container,
    make_family,
    make_lot,
    make_material,
    make_tool,
    make_user,
)

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen")]
DAY = timedelta(days=1)
TODAY = NOW.date()


def add(tool, kind, days_ago=0, **values):
    key = f"{tool.pk}:{kind}:{ToolEvent.objects.count()}"
    return add_event(tool_id=tool.pk, kind=kind, key=key, at=NOW - days_ago * DAY, **values)


def point(of, code="GAP", **values):
    usual = {"name": f"{code.capitalize()} of the parting line", "tool": of, "unit": "mm",
             "nominal": Decimal(1), "may_be_below": Decimal("0.2"),
             "may_be_above": Decimal("0.1")}  # fmt: skip
    made = Checkpoint(site=of.site, code=code, **usual | values)
    made.full_clean()
    made.save()
    return made


def inspect(tool, one, value, days_ago=0, verdict="", **more):
    facts = {"verdict": verdict} if verdict else {}
    return add(
        tool, "inspection", days_ago, facts=facts, findings=[Finding(one, Decimal(value))], **more
    )


def works(tool):
    tool.refresh_from_db()
    [found] = states([tool], tool.site, TODAY)
    return found.works


class TestByDate:
    def test_an_inspection_comes_due_by_days_and_shows_on_the_sheet_and_as_reminder(self, site):
        tool = make_tool(site, days_per_inspection=30)
        add(tool, "inspection", 29)
        [work] = works(tool)
        assert (work.work, work.due_on, work.since) == ("an inspection", TODAY + DAY, None)
        assert not list(tools_due())
        coming = upkeep(Tool.objects.all(), site.pk, TODAY)
        assert [w.tool for w in due_on_day(coming, TODAY + DAY, TODAY)] == [tool]
        Tool.objects.update(days_per_inspection=29)
        [need] = tools_due()
        assert need.work == "an inspection"
        assert "Last inspected 27 Oct 2026; an inspection is due every 29 days." in need.words

    def test_of_shots_and_days_the_first_holds(self, site):
        tool = make_tool(site, days_per_inspection=30, shots_per_inspection=50)
        add(tool, "inspection", 10)
        add(tool, "shots", 5, shots=60)
        [work] = works(tool)
        assert work.since == NOW - 5 * DAY
        add(tool, "inspection", 1)
        [work] = works(tool)
        assert work.due_on <= TODAY + 29 * DAY

    def test_a_tool_with_nothing_on_record_is_inspected_now(self, site):
        [work] = works(make_tool(site, days_per_inspection=30))
        assert work.due_on == TODAY
        assert work.since is not None


class TestChecklist:
    def test_a_tool_has_its_own_points_and_those_of_its_family(self, site):
        family = make_family(site)
        tool, other = make_tool(site, family=family), make_tool(site)
        own = point(tool)
        shared = point(tool, "SEAL", tool=None, family=family, unit="", nominal=None,
                       may_be_below=None, may_be_above=None)  # fmt: skip
        add(tool, "inspection", facts={"verdict": "accept"},
            findings=[Finding(own, Decimal("1.1")), Finding(shared, good=True)])  # fmt: skip
        assert ToolFinding.objects.count() == 2
        with pytest.raises(Invalid, match="not on the checklist"):
            inspect(other, own, 1)

    def test_a_tool_passes_outside_tolerance_or_half_looked_at_only_if_confirmed(self, site):
        tool = make_tool(site)
        gap, _ = point(tool), point(tool, "WEAR")
        said = "Gap of the parting line is 1.11 mm; it must be 0.8 to 1.1 mm."
        with pytest.raises(OutsideTolerance, match=said):
            inspect(tool, gap, "1.11", verdict="accept")
        with pytest.raises(CheckpointsLeftOut, match="Not looked at: Wear of the parting line"):
            inspect(tool, gap, "1.1", verdict="accept")
        assert not ToolEvent.objects.exists()
        inspect(tool, gap, "1.11", verdict="accept", confirmed=True)
        [work] = works(tool)
        assert (work.work, work.since) == ("a repair", NOW)
        assert "is 1.11 mm; it must be 0.8 to 1.1 mm." in work.words

    @pytest.mark.parametrize(
        ("finding", "words"),
        [
            ({}, "is measured; give its value in mm"),
            ({"good": True}, "is measured"),
            ({"value": Decimal(1), "good": True}, "no yes or no"),
            ({"value": Decimal("1.00001")}, "at most 4 decimals"),
            ({"value": Decimal("1e9")}, "below 10,000,000"),
        ],
    )
    def test_a_finding_that_makes_no_sense_is_refused(self, site, finding, words):
        tool = make_tool(site)
        with pytest.raises(Invalid, match=words):
            add(tool, "inspection", findings=[Finding(point(tool), **finding)])
        assert not ToolEvent.objects.exists()

    def test_findings_stand_once_and_only_with_an_inspection_of_a_known_verdict(self, site):
        tool = make_tool(site)
        one = Finding(point(tool), Decimal(1))
        with pytest.raises(Invalid, match="stands twice"):
            add(tool, "inspection", findings=[one, one])
        with pytest.raises(Invalid, match="belong to an inspection"):
            add(tool, "note", findings=[one])
        with pytest.raises(Invalid, match="must be one of accept, rework, reject"):
            add(tool, "inspection", facts={"verdict": "fine"})

    def test_a_line_of_a_checklist_is_measured_with_tolerance_or_answered(self, site, other_site):
        tool = make_tool(site)
        for wrong in ({"nominal": None}, {"unit": ""}, {"family": make_family(site)},
                      {"tool": None}, {"may_be_above": Decimal(-1)},
                      {"tool": make_tool(other_site)}):  # fmt: skip
            with pytest.raises(ValidationError):
                point(tool, **wrong)

    def test_findings_are_only_added(self, site):
        tool = make_tool(site)
        inspect(tool, point(tool), 1)
        with pytest.raises((DatabaseError, IntegrityError)), transaction.atomic():
            ToolFinding.objects.update(value=2)


class TestDrift:
    def test_a_dimension_that_drifts_asks_for_a_measurement_before_it_is_outside(self, site):
        tool = make_tool(site)
        gap = point(tool, gauge_step=Decimal("0.01"))
        for days_ago, value in ((40, "0.90"), (30, "0.93"), (20, "0.96"), (10, "0.99")):
            inspect(tool, gap, value, days_ago)
            add(tool, "shots", days_ago - 1, shots=100)
        [one] = drifts_of(tool, site, TODAY)
        assert one.over == "shots"
        assert one.line.slope == pytest.approx(0.0003)
        # 100 shots in 39 days of record and 0.03 mm for each 100 shots: outside at 1.1 mm.
        assert TODAY < one.leaves_on < one.expected_on
        [work] = works(tool)
        assert (work.work, work.due_on) == ("a measurement", one.leaves_on)
        assert "may be outside from" in work.words

    def test_a_tool_that_stands_drifts_over_days_and_scatter_is_no_trend(self, site):
        tool = make_tool(site)
        gap = point(tool)
        for days_ago, value in ((40, "0.95"), (30, "1.01"), (20, "0.96"), (10, "1.0")):
            inspect(tool, gap, value, days_ago)
        [one] = drifts_of(tool, site, TODAY)
        assert (one.over, one.places[-1], one.leaves_on) == ("days", 30.0, None)
        assert "No trend stands out" in one.words
        assert works(tool) == ()

    def test_a_withdrawn_measurement_counts_no_more(self, site):
        tool = make_tool(site)
        gap = point(tool)
        wrong = inspect(tool, gap, 9)
        assert works(tool)
        withdraw(event_id=wrong.pk, words="0.9 typed as 9", key="w")
        inspect(tool, gap, "0.9")
        assert works(tool) == ()
        [one] = drifts_of(tool, site, TODAY)
        assert len(one.found) == 1

    def test_many_tools_ask_as_often_as_one(self, site, queries):
        for n in range(3):
            tool = make_tool(site)
            inspect(tool, point(tool, f"GAP{n}"), 1)
            if n == 0:
                one = queries(lambda: upkeep(Tool.objects.all(), site.pk, TODAY))
        assert queries(lambda: upkeep(Tool.objects.all(), site.pk, TODAY)) == one


class TestRepair:
    def test_a_repair_takes_its_lots_and_the_trace_finds_the_tool(self, site):
        tool = make_tool(site)
        lot = make_lot(site, make_material(name="Tooling adhesive"))
        can, second = make_container(lot, holds=1), make_container(lot, holds=1)
        event = add(tool, "repair", words="chipped corner",
                    used=[Used(can, Decimal("0.1")), Used(second, Decimal("0.2"))])  # fmt: skip
        tool.refresh_from_db()
        can.refresh_from_db()
        assert (tool.status, can.balance) == ("repair", Decimal("0.9"))
        assert tool in lot_trace(lot).tools
        assert lot in tool_trace(tool).lots
        withdraw(event_id=event.pk, words="it was another tool", key="w")
        tool.refresh_from_db()
        can.refresh_from_db()
        assert (tool.status, can.balance) == ("in_service", Decimal(1))
        assert tool not in lot_trace(lot).tools
        assert tool_trace(tool).lots == ()
        assert differences() == []

    def test_a_held_lot_goes_into_no_repair_and_nothing_is_kept(self, site):
        tool = make_tool(site)
        can = make_container(make_lot(site, status="held"), holds=1)
        with pytest.raises(LotHeld), transaction.atomic():
            add(tool, "repair", used=[Used(can, Decimal("0.1"))])
        assert not ToolEvent.objects.exists()
        tool.refresh_from_db()
        assert tool.status == "in_service"

    def test_back_in_use_by_a_named_person_only(self, site, other_site):
        tool, by = make_tool(site), make_user(site)
        with pytest.raises(Invalid, match="only a tool under repair"):
            add(tool, "back", by=by)
        add(tool, "inspection", facts={"verdict": "reject"})
        tool.refresh_from_db()
        assert tool.status == "repair"
        with pytest.raises(Refused, match="by a person who is signed in"):
            add(tool, "back")
        back = add(tool, "back", by=by)
        tool.refresh_from_db()
        assert (tool.status, back.by) == ("in_service", by)
        strange = make_container(make_lot(other_site), holds=1)
        for used, kind, words in (
            ([Used(strange, Decimal(1))], "repair", "another site"),
            ([Used(strange, Decimal(1))], "note", "belongs to a repair"),
        ):
            with pytest.raises(Invalid, match=words):
                add(tool, kind, used=used)


class TestRetirement:
    def test_a_reason_of_the_list_says_whether_the_life_ended_by_use(self, site):
        RetirementReason.objects.create(site=site, code="SOLD", name="sold")
        RetirementReason.objects.create(site=site, code="CRACK", name="cracked", worn=True)
        for reason, worn in (("sold", "no"), ("cracked", "yes"), ("worn out", "yes")):
            event = add(make_tool(site), "retirement", reason=reason)
            assert (event.reason, event.facts["worn"]) == (reason, worn)

    @pytest.mark.parametrize(
        ("values", "words"),
        [
            ({}, "reason is empty"),
            ({"reason": "other"}, "say which other reason"),
            ({"reason": "bored"}, "must be one of: worn out, damaged beyond repair, not needed"),
        ],
    )
    def test_a_retirement_without_a_reason_is_refused(self, site, values, words):
        with pytest.raises(Invalid, match=words):
            add(make_tool(site), "retirement", **values)

    def test_a_retirement_by_mistake_is_withdrawn_and_counts_in_no_life(self, site):
        tool = make_tool(site, expected_shots=100)
        add(tool, "shots", 2, shots=50)
        add(tool, "repair", 1)
        gone = add(tool, "retirement", reason="worn out")
        withdraw(event_id=gone.pk, words="wrong tool", key="w")
        tool.refresh_from_db()
        assert tool.status == "repair"
        [state] = states([tool], site, TODAY)
        assert [(life.shots, life.failed) for life in state.known.history] == [(50, False)]


def test_entries_are_withdrawn_once_with_a_reason_and_runs_are_corrected_instead(site):
    tool = make_tool(site)
    note, run = add(tool, "note", words="-"), add(tool, "shots", 1, shots=5)
    first = withdraw(event_id=note.pk, words="twice", key="w")
    assert withdraw(event_id=note.pk, words="twice", key="w") == first
    for event, words, key, said in (
        (note, "again", "x", "withdrawn already"),
        (run, "no run", "x", "correct its shots, to 0"),
        (first, "no", "x", "enter what really happened"),
        (add(tool, "note", words="-"), "", "x", "say why"),
    ):
        with pytest.raises(Invalid, match=said):
            withdraw(event_id=event.pk, words=words, key=key)
    with pytest.raises(Refused, match="another event"):
        withdraw(event_id=run.pk, words="no", key="w")


def test_it_all_goes_by_rest(api, site):
    client, tool = api("tool_keeper"), make_tool(site)
    body = {"code": "GAP", "name": "Gap", "tool": str(tool.pk), "unit": "mm", "nominal": "1",
            "may_be_below": "0.2", "may_be_above": "0.1"}  # fmt: skip
    made = client.post("/api/v1/checkpoints", body)
    assert made.status_code == 201, made.data
    gap = made.data["id"]
    found = {"tool": str(tool.pk), "kind": "inspection", "facts": {"verdict": "accept"},
             "findings": [{"checkpoint": gap, "value": "1.2"}]}  # fmt: skip
    asked = client.post("/api/v1/tool-events", found)
    assert (asked.status_code, asked.data["code"]) == (409, "outside_tolerance")
    told = client.post("/api/v1/tool-events", found | {"confirmed": True})
    assert told.status_code == 201, told.data
    assert told.data["findings"][0] | {"words": ""} == {
        "checkpoint": gap, "name": "Gap", "unit": "mm", "value": "1.2000", "good": None,
        "lowest": "0.8000", "highest": "1.1000", "passes": False, "words": "",
    }  # fmt: skip
    [drift] = client.get(f"/api/v1/tools/{tool.pk}/drifts").data
    assert (drift["outside"], drift["slope"]) == (True, None)
    assert client.get(f"/api/v1/tools/{tool.pk}/upkeep").data["works"][0]["work"] == "a repair"
    can = make_container(make_lot(site), holds=1)
    repair = {"tool": str(tool.pk), "kind": "repair",
              "used": [{"container": str(can.pk), "quantity": "0.25"}]}  # fmt: skip
    done = client.post("/api/v1/tool-events", repair)
    assert done.data["used"] == [
        {"container": str(can.pk), "lot": str(can.lot_id), "quantity": "0.2500"}
    ]
    key = f"tool-event:{done.data['id']}:1"
    moves = client.get("/api/v1/movements").data["items"]
    move = next(row for row in moves if row["kind"] == "issue")
    undo = {"kind": "reversal", "reverses": move["id"], "reason": "wrong"}
    assert client.post("/api/v1/movements", undo).status_code in (403, 409), key
    gone = client.post(f"/api/v1/tool-events/{done.data['id']}/withdrawals", {"words": "twice"})
    assert (gone.status_code, gone.data["corrects"]) == (201, done.data["id"])
    retired = {"tool": str(tool.pk), "kind": "retirement", "reason": "worn out"}
    assert client.post("/api/v1/tool-events", retired).data["reason"] == "worn out"
    refused = client.delete(f"/api/v1/checkpoints/{gap}", etag=made["ETag"])
    assert (refused.status_code, refused.data["code"]) == (409, "in_use")


def test_it_all_goes_by_page(browser_of, site):
    page, tool = browser_of("tool_keeper"), make_tool(site)
    gap = point(tool)
    sound = point(tool, "SOUND", unit="", nominal=None, may_be_below=None, may_be_above=None)
    address = f"/tools/{tool.pk}/"
    assert "0.8 to 1.1 mm" in page.get(f"{address}inspect/").content.decode()
    body = {"key": "k", f"p{gap.pk}": "1.3", f"p{sound.pk}": "yes", "verdict": "accept",
            "at": "2026-11-20T08:00"}  # fmt: skip
    asked = page.post(f"{address}inspect/", body).content.decode()
    assert "It passes all the same" in asked
    assert 'value="1.3"' in asked
    page.post(f"{address}inspect/", body | {"confirmed": "yes"})
    shown = page.get(address).content.decode()
    assert "1.3 mm" in shown
    assert "entered" in shown  # five days late
    dimensions = page.get(f"{address}dimensions/").content.decode()
    assert "drift__point--off" in dimensions
    for words in (">mm<", ">Days since the first measurement<", ">most<", ">least<"):
        assert words in dimensions
    assert "it must be 0.8 to 1.1 mm" in dimensions
    can = make_container(make_lot(site), holds=1)
    page.post(f"{address}repair/", {"key": "r", "can1": can.code, "much1": "0.5", "words": "x"})
    can.refresh_from_db()
    assert can.balance == Decimal("0.5")
    event = ToolEvent.objects.get(kind="repair")
    shown = page.get(address).content.decode()
    assert f"lot {can.lot.code}" in shown
    page.post(f"{address}events/{event.pk}/withdraw/", {"key": "w", "words": "other tool"})
    assert "Withdrawn" in page.get(address).content.decode()
    nonsense = {"key": "n", f"p{sound.pk}": "maybe"}
    answer = page.post(f"{address}inspect/", nonsense).content.decode()
    assert "choose good, not good or not looked at" in answer
