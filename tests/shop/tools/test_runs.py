"""Runs of a tool: corrections, what was above a limit, and files from a press counter."""

from datetime import timedelta
from decimal import Decimal
from io import BytesIO

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import DatabaseError, IntegrityError, transaction

from shared.errors import Invalid
from shop.errors import Refused
from shop.tools.actions import add_event
from shop.tools.counter_file import load_counter_file
from shop.tools.due import tools_due
from shop.tools.life import states
from shop.tools.models import ToolEvent, ToolHalf
from shop.tools.runs import OverLimit, Readings, correct_shots
from tests.factories.shop import NOW, make_tool

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen")]
DAY = timedelta(days=1)


def run(tool, count, days_ago=1, **values):
    at = NOW - days_ago * DAY
    return add_event(
        tool_id=tool.pk, kind="shots", key=f"{tool.pk}:{days_ago}", at=at, shots=count, **values
    )


def state_of(tool):
    [found] = states([tool], tool.site, NOW.date())
    return found


def test_mistyped_shots_are_put_right_and_the_life_fit_takes_the_corrected_sum(site):
    tool = make_tool(site, expected_shots=300)
    wrong = run(tool, 5000, days_ago=3)
    run(tool, 40, days_ago=2)
    correct_shots(event_id=wrong.pk, shots=50, words="5,000 typed for 50", key="c1")
    add_event(tool_id=tool.pk, kind="retirement", key="end", at=NOW, words="worn")
    again = correct_shots(event_id=wrong.pk, shots=60, words="it was 60", key="c2")
    assert (again.shots, again.at) == (10, wrong.at)
    found = state_of(tool)
    assert found.shots == 100
    assert [(life.shots, life.failed) for life in found.known.history] == [(100, True)]
    wrong.refresh_from_db()
    assert wrong.shots == 5000


def test_a_correction_is_repeated_once_and_bounded():
    tool = make_tool()
    wrong = run(tool, 500)
    first = correct_shots(event_id=wrong.pk, shots=5, words="typed twice", key="k")
    assert correct_shots(event_id=wrong.pk, shots=5, words="typed twice", key="k") == first
    note = add_event(tool_id=tool.pk, kind="note", key="n", at=NOW, words="-")
    for event, shots, words, said in (
        (wrong, -1, "no", "0 to"),
        (wrong, 5, "no", "written down already"),
        (wrong, 6, "", "say why"),
        (note, 6, "no", "no run"),
        (first, 6, "no", "no run"),
    ):
        with pytest.raises(Invalid, match=said):
            correct_shots(event_id=event.pk, shots=shots, words=words, key=f"x{said}")
    with pytest.raises(Refused, match="another event"):
        correct_shots(event_id=run(tool, 9, days_ago=5).pk, shots=5, words="no", key="k")


def test_the_tables_refuse_shots_without_a_run_and_changes_to_what_stands():
    tool = make_tool()
    event = run(tool, 9)
    for values in (
        {"kind": "correction", "shots": -4},
        {"kind": "note", "shots": -4},
        {"kind": "shots", "shots": -4},
        {"kind": "coat", "shots": 0, "temperature_c": 80},
        {"kind": "shots", "shots": 4, "corrects": event},
    ):
        with pytest.raises(IntegrityError), transaction.atomic():
            ToolEvent.objects.create(tool=tool, key="x", at=NOW, **values)
    with pytest.raises(DatabaseError), transaction.atomic():
        ToolEvent.objects.update(shots=1)


def test_a_correction_moves_what_is_due_with_it(site):
    tool = make_tool(site, shots_per_coat=100)
    wrong = run(tool, 150, days_ago=5)
    run(tool, 30, days_ago=4)
    [need] = tools_due()
    assert need.since == NOW - 5 * DAY
    correct_shots(event_id=wrong.pk, shots=15, words="typed wrongly", key="c")
    assert list(tools_due()) == []
    run(tool, 60, days_ago=1)
    [need] = tools_due()
    assert (need.since, need.work) == (NOW - DAY, "a re-coat")
    assert "105 shots" in need.words


def test_a_run_too_hot_is_asked_for_and_brings_an_inspection(site):
    tool = make_tool(site, service_c=Decimal(120), clamp_limit_kn=Decimal(400))
    ToolHalf.objects.create(tool=tool, half="A", verdict="accept", service_c=Decimal(85))
    hot = Readings(temperature_c=Decimal("92.5"), clamp_kn=Decimal(410))
    with pytest.raises(OverLimit, match=r"92.5 °C; the service temperature of .* is 85.0 °C"):
        run(tool, 20, readings=hot)
    assert not ToolEvent.objects.exists()
    event = run(tool, 20, readings=hot, confirmed=True)
    assert "bears 400.0 kN at most" in event.facts["over_limit"]
    found = state_of(tool)
    assert found.wants == ("inspection",)
    assert any("92.5 °C" in work.words for work in found.works)
    [need] = tools_due()
    assert need.work == "an inspection"
    add_event(tool_id=tool.pk, kind="inspection", key="i", at=NOW, facts={"verdict": "accept"})
    assert state_of(tool).wants == ()
    assert list(tools_due()) == []


def test_what_nobody_has_stated_limits_nothing():
    tool = make_tool()
    event = run(tool, 20, readings=Readings(Decimal(250), Decimal(30), Decimal(900)))
    assert (event.facts, event.cycle_s) == ({}, Decimal(30))
    with pytest.raises(Invalid, match="belong to shots run"):
        add_event(
            tool_id=tool.pk, kind="coat", key="c", at=NOW, readings=Readings(cycle_s=Decimal(3))
        )


FILE = (
    "tool,at,shots,counter,temperature_c,cycle_s\n"
    "T-1,2026-11-20T10:00,,1200,,\n"
    "T-1,2026-11-21T10:00,,1260,81.5,240\n"
    "T-1,2026-11-22T10:00+01:00,25,,,\n"
)


def test_a_press_counter_file_enters_its_runs_once(site):
    tool = make_tool(site, code="T-1")
    first = load_counter_file(site=site, data=FILE.encode())
    assert (first.entered, first.known, first.first_readings) == (2, 0, ["T-1"])
    again = load_counter_file(site=site, data=FILE.encode())
    assert (again.entered, again.known) == (0, 3)
    assert state_of(tool).shots == 85
    later = "tool,at,counter\nT-1,2026-11-23T10:00,1300\n"
    assert load_counter_file(site=site, data=later.encode()).entered == 1
    assert state_of(tool).shots == 125
    assert ToolEvent.objects.get(shots=60).temperature_c == Decimal("81.5")


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        ("T-9,2026-11-20T10:00,5,,", "Line 3: tool is 'T-9'"),
        ("T-1,2026-11-20,5,,", None),
        ("T-1,noon,5,,", "Line 3: at is 'noon'"),
        ("T-1,2026-03-29T02:30,5,,", "Line 3: at is Sun 29 Mar 2026 02:30; there is no such time"),
        ("T-1,2026-10-25T02:30,5,,", "the first, 2026-10-25T02:30+02:00, or the second"),
        ("T-1,2026-10-25T02:30+01:00,5,,", None),
        ("T-1,2027-11-20T10:00,5,,", "must not be in the future"),
        ("T-1,2026-11-20T10:00,0,,", "shots is 0; it must be 1 to"),
        ("T-1,2026-11-20T10:00,x,,", "must be a whole number"),
        ("T-1,2026-11-20T10:00,5,7,", "either shots or counter"),
        ("T-1,2026-11-20T10:00,,,", "either shots or counter"),
        ("T-1,2026-11-20T10:00,,900,", "counter is 900; it showed 1000"),
        ("T-1,2026-11-20T10:00,5,,hot", "temperature_c is 'hot'"),
        ("T-1,2026-11-20T10:00,5,,99", "service temperature of T-1 is 80.0 °C"),
        ("T-1,2026-11-20T10:00,5", "has 3 cells"),
        ('T-1,"2026', "cannot be read"),
    ],
)
def test_one_bad_row_keeps_the_whole_file_out(site, rows, words):
    make_tool(site, code="T-1", service_c=Decimal(80))
    text = f"tool,at,shots,counter,temperature_c\nT-1,2026-11-19T10:00,,1000,\n{rows}\n"
    if words is None:
        assert load_counter_file(site=site, data=text.encode()).entered == 1
        return
    with pytest.raises(Invalid) as refused, transaction.atomic():
        load_counter_file(site=site, data=text.encode())
    assert words in str(refused.value)
    assert not ToolEvent.objects.exists()


@pytest.mark.parametrize("data", [b"", b"tool,at\n", b"tool,at,size\n", b"\xff\xfe", b"a\0b"])
def test_what_is_no_such_file_is_refused(site, data):
    with pytest.raises(Invalid):
        load_counter_file(site=site, data=data)


def test_corrections_and_files_by_rest(api, site, other_site):
    tool, client = make_tool(site, code="T-1", service_c=Decimal(80)), api("tool_keeper")
    body = {"tool": str(tool.pk), "kind": "shots", "shots": 500, "temperature_c": "95"}
    asked = client.post("/api/v1/tool-events", body)
    assert (asked.status_code, asked.data["code"]) == (409, "over_limit")
    made = client.post("/api/v1/tool-events", body | {"confirmed": True})
    assert made.status_code == 201, made.data
    address = f"/api/v1/tool-events/{made.data['id']}/corrections"
    answer = client.post(address, {"shots": 50, "words": "a nought too many"})
    assert answer.status_code == 201, answer.data
    assert (answer.data["shots"], answer.data["corrects"]) == (-450, made.data["id"])
    assert client.get(f"/api/v1/tools/{tool.pk}/life").data["shots"] == 50
    direct = client.post("/api/v1/tool-events", body | {"kind": "correction", "shots": -3})
    assert direct.status_code == 422
    for data, status in ((FILE, 422), (FILE.replace("81.5", "71.5"), 201)):
        file = SimpleUploadedFile("press.csv", data.encode())
        made = client.post("/api/v1/tool-events/counter-files", {"file": file}, format="multipart")
        assert made.status_code == status, made.data
    assert made.data == {"entered": 2, "known": 0, "first_readings": ["T-1"]}


def test_corrections_and_files_by_page(browser_of, site):
    tool, client = make_tool(site, code="T-1", service_c=Decimal(90)), browser_of("tool_keeper")
    event = {"kind": "shots", "shots": "500", "key": "k", "temperature_c": "95"}
    page = client.post(f"/tools/{tool.pk}/events/", event, follow=True).content.decode()
    assert "Stop the run" in page
    client.post(f"/tools/{tool.pk}/events/", event | {"confirmed": "yes"})
    [made] = ToolEvent.objects.all()
    right = {"shots": "50", "words": "a nought too many", "key": "k2"}
    client.post(f"/tools/{tool.pk}/events/{made.pk}/", right)
    page = client.get(f"/tools/{tool.pk}/").content.decode()
    assert "A run was too much: temperature_c is 95.0 °C" in page
    assert "−450" in page
    file = BytesIO(FILE.encode())
    file.name = "press.csv"
    page = client.post("/tools/counter-file/", {"file": file}, follow=True).content.decode()
    assert "The counter starts here for T-1" in page
    assert state_of(tool).shots == 135
    assert "choose a CSV file" in client.post(
        "/tools/counter-file/", follow=True
    ).content.decode()  # fmt: skip
