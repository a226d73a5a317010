from datetime import timedelta

import pytest

from shop.tools.actions import add_event
from shop.tools.life import states
from shop.tools.models import Tool, ToolFamily
from tests.factories.shop import NOW, make_family, make_tool

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen")]


def shots(tool, count, days_ago=1, key=None):
    at = NOW - timedelta(days=days_ago)
    add_event(
        tool_id=tool.pk, kind="shots", key=key or f"{tool.pk}:{days_ago}", at=at, shots=count
    )


def state_of(tool, site):
    [found] = states([tool], site, NOW.date())
    return found


def test_coats_inspections_and_pace_follow_from_events(site):
    tool = make_tool(site, shots_per_coat=20, shots_per_inspection=50, expected_shots=500)
    shots(tool, 45, days_ago=10)
    add_event(tool_id=tool.pk, kind="coat", key="c", at=NOW - timedelta(days=9))
    shots(tool, 15, days_ago=5)
    found = state_of(tool, site)
    assert (found.shots, found.coats.shots_left, found.inspection_left) == (60, 5, -10)
    assert found.wants == ("inspection",)
    # The pace is 60 shots in 90 days; the replacement is cast 21 days before the tool may fail.
    ahead = found.ahead
    assert ahead.last_day == NOW.date() + timedelta(days=int(ahead.left.kept / (60 / 90)))
    assert ahead.cast_by == ahead.last_day - timedelta(days=21)
    assert ahead.basis == (
        "From no failure, 1 tool in service or retired sound, and a stated life of 500 shots."
    )


def test_tools_that_wore_out_tell_the_chance_of_those_in_service(site):
    for n, count in enumerate((100, 140, 180)):
        old = make_tool(site)
        shots(old, count, key=f"old:{n}")
        add_event(tool_id=old.pk, kind="retirement", key=f"end:{n}", at=NOW, words="worn")
    tool = make_tool(site, promised_shots=50)
    shots(tool, 100)
    chance = state_of(tool, site).ahead.chance_of_promised.middle
    assert 0.2 < chance < 0.8
    Tool.objects.filter(pk=tool.pk).update(promised_shots=150)
    tool.refresh_from_db()
    assert state_of(tool, site).ahead.chance_of_promised.middle < chance


def test_a_tool_retired_for_want_of_orders_does_not_count_as_worn(site):
    for n in range(3):
        old = make_tool(site)
        shots(old, 10 + n, key=f"old:{n}")
        facts = {"worn": "no"}
        add_event(
            tool_id=old.pk, kind="retirement", key=f"end:{n}", at=NOW, words="worn", facts=facts
        )
    found = state_of(make_tool(site), site)
    assert (found.ahead, sum(life.failed for life in found.known.history)) == (None, 0)
    assert "State a life" in found.why_nothing


def test_a_family_pools_its_tools_and_no_others(site):
    family = make_family(site, stated_shots=300)
    for n, count in enumerate((200, 260, 310)):
        old = make_tool(site, family=family)
        shots(old, count, key=f"old:{n}")
        add_event(tool_id=old.pk, kind="retirement", key=f"end:{n}", at=NOW, words="worn")
    for n in range(4):
        shots(make_tool(site, expected_shots=300), 2000, key=f"other:{n}")
    found = state_of(make_tool(site, family=family), site)
    assert found.ahead.basis == (
        "From 3 failures, 0 tools in service or retired sound, and a stated life of 300 shots."
    )
    loner = state_of(make_tool(site, expected_shots=300), site)
    assert "no failure, 4 tools in" in loner.ahead.basis
    assert "last longer than stated" in loner.known.contradiction


def test_a_family_by_page_with_its_picture(browser_of, site):
    client = browser_of("tool_keeper")
    body = {"code": "RIM", "name": "Rim tools", "stated_shots": "300", "source": "the customer"}
    assert client.post("/tools/families/add/", body).status_code == 302
    family = ToolFamily.objects.get()
    tool = make_tool(site, promised_shots=40)
    shots(tool, 120)
    client.post(f"/tools/{tool.pk}/limits/", {"family": str(family.pk), "promised_shots": "40"})
    address = f"/tools/families/{family.pk}/"
    client.post(f"{address}change/", body | {"stated_shots": "400"})
    page = client.get(address).content.decode()
    assert "From no failure, 1 tool in service or retired sound" in page
    assert "stated life of 400 shots" in page
    assert "life__band" in page
    assert ">Tools still going, %<" in page
    assert ">Shots</text>" in page
    worn = make_tool(site, family=family)
    shots(worn, 90, key="worn")
    add_event(tool_id=worn.pk, kind="retirement", key="gone", at=NOW, words="worn")
    assert "life__steps" in client.get(address).content.decode()
    own = client.get(f"/tools/{tool.pk}/").content.decode()
    assert "Chance of the shots promised" in own
    assert "From 1 failure, 1 tool in service or retired sound" in own
    assert "From 1 failure" in client.get("/tools/families/").content.decode()


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"stated_shots": "0"}, "must be 1 to"),
        ({"code": "a b"}, "Use letters"),
        ({"name": ""}, "name"),
    ],
)
def test_a_family_that_makes_no_sense_is_refused(browser_of, site, changed, words):
    body = {"code": "RIM", "name": "Rim tools", "stated_shots": "300"} | changed
    answer = browser_of("tool_keeper").post("/tools/families/add/", body, follow=True)
    assert words in answer.content.decode()
    assert not ToolFamily.objects.exists()


def test_the_register_and_a_tool_by_page(browser_of, site):
    client = browser_of("tool_keeper")
    client.post("/tools/add/", {"code": "T-9", "name": "Cover", "kind": "single"})
    tool = Tool.objects.get()
    Tool.objects.update(status="in_service")
    address = f"/tools/{tool.pk}/"
    limits = {"shots_per_coat": "10", "promised_shots": "", "expected_shots": "100"}
    client.post(f"{address}limits/", limits)
    event = {"kind": "shots", "shots": "12", "key": "k"}
    client.post(f"{address}events/", event)
    client.post(f"{address}events/", event)
    page = client.get(address).content.decode()
    assert "re-coat" in page
    assert tool.events.get().shots == 12
    assert "T-9" in client.get("/tools/").content.decode()
    assert "T-9" not in client.get("/tools/?status=retired").content.decode()


@pytest.mark.parametrize(
    ("post", "words"),
    [
        ({"kind": "shots", "shots": "none"}, "type a whole number"),
        ({"kind": "shots", "shots": "0"}, "it must be 1 to"),
        ({"kind": "melted"}, "must be one of shots"),
    ],
)
def test_bad_events_are_told_and_change_nothing(browser_of, site, post, words):
    tool = make_tool(site)
    client = browser_of("tool_keeper")
    answer = client.post(f"/tools/{tool.pk}/events/", {"key": "k", **post}, follow=True)
    assert words in answer.content.decode()
    assert not tool.events.exists()


def test_a_technician_of_another_site_does_not_see_the_tool(browser_of, site, other_site):
    tool = make_tool(other_site)
    assert browser_of("technician").get(f"/tools/{tool.pk}/").status_code == 404


def test_the_register_asks_as_often_for_many_tools_as_for_few(browser_of, site, queries):
    client = browser_of("tool_keeper")

    def ask():
        assert client.get("/tools/").status_code == 200

    shots(make_tool(site), 5)
    ask()
    few = queries(ask)
    for _ in range(6):
        shots(make_tool(site), 5)
    assert queries(ask) == few
