import pytest
from django.core.exceptions import ValidationError

from shop.tools.actions import add_event
from shop.tools.models import ToolEvent
from tests.factories.shop import NOW, make_family, make_tool

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen")]


def test_a_tool_is_entered_and_its_state_follows_from_events(api, site):
    client = api("tool_keeper")
    made = client.post("/api/v1/tools", {"code": "T-1", "name": "Cover", "kind": "single"})
    assert made.status_code == 201, made.data
    assert (made.data["status"], made.data["halves"]) == ("asked", [])
    answer = client.patch(
        f"/api/v1/tools/{made.data['id']}", {"status": "in_service"}, etag=made["ETag"]
    )
    assert answer.status_code == 422


def event(tool, **values):
    return {"tool": str(tool.pk), "at": "2026-11-25T10:00:00Z"} | values


def test_shots_coats_inspection_and_retirement(api, site):
    tool = make_tool(site)
    client = api("tool_keeper")
    for body in (
        {"kind": "shots", "shots": 12},
        {"kind": "coat", "facts": {"coats": "2"}},
        {"kind": "repair", "words": "chipped corner"},
    ):
        answer = client.post("/api/v1/tool-events", event(tool, **body))
        assert answer.status_code == 201, answer.data
    tool.refresh_from_db()
    assert tool.status == "repair"
    late = client.post("/api/v1/tool-events", event(tool, kind="shots", shots=1))
    assert late.status_code == 409
    assert "under repair" in late.data["detail"]
    passed = event(tool, kind="inspection", facts={"verdict": "accept"})
    assert client.post("/api/v1/tool-events", passed).status_code == 201
    tool.refresh_from_db()
    assert tool.status == "in_service"
    gone = client.post("/api/v1/tool-events", event(tool, kind="retirement", words="worn"))
    assert gone.status_code == 201
    shot = client.post("/api/v1/tool-events", event(tool, kind="shots", shots=1))
    assert "is retired" in shot.data["detail"]


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({"kind": "shots"}, "shots is 0; give 1 or more"),
        ({"kind": "coat", "shots": 3}, "0 for anything else"),
        ({"kind": "cast"}, "is not one of: shots"),
        ({"kind": "note", "at": "2026-11-27T00:00:00Z"}, "must not be in the future"),
    ],
)
def test_events_that_make_no_sense_are_refused(api, site, values, words):
    answer = api().post("/api/v1/tool-events", event(make_tool(site), **values))
    assert answer.status_code == 422
    assert words in answer.data["detail"]
    assert not ToolEvent.objects.exists()


def test_a_repeat_with_the_same_reference_counts_shots_once(api, site):
    tool, client = make_tool(site), api()
    body = event(tool, kind="shots", shots=5, client_reference="press-3-1147")
    first = client.post("/api/v1/tool-events", body)
    assert client.post("/api/v1/tool-events", body).data["id"] == first.data["id"]
    assert client.post("/api/v1/tool-events", body | {"shots": 6}).status_code == 409
    assert ToolEvent.objects.count() == 1


def test_lists_ask_as_often_for_one_tool_as_for_many(api, site, queries):
    client = api()

    def ask():
        assert client.get("/api/v1/tools").status_code == 200

    make_tool(site)
    ask()
    few = queries(ask)
    for _ in range(6):
        make_tool(site)
    assert queries(ask) == few


def test_the_life_of_a_family_and_of_a_tool(api, site):
    client = api("tool_keeper")
    body = {"code": "RIM", "name": "Rim tools", "stated_shots": 300}
    family = client.post("/api/v1/tool-families", body)
    assert family.status_code == 201, family.data
    tool = make_tool(site, promised_shots=50, family_id=int(family.data["id"]))
    add_event(tool_id=tool.pk, kind="shots", key="s", at=NOW, shots=90)
    old = make_tool(site, family_id=tool.family_id)
    add_event(tool_id=old.pk, kind="shots", key="o", at=NOW, shots=250)
    add_event(tool_id=old.pk, kind="retirement", key="e", at=NOW, words="worn")
    life = client.get(f"/api/v1/tool-families/{family.data['id']}/life").data
    assert (life["failures"], life["sound"], life["stated_shots"]) == (1, 1, 300.0)
    assert life["median_shots"]["low"] < life["median_shots"]["middle"] < 600
    assert [step["shots"] for step in life["survival"]] == [250.0]
    own = client.get(f"/api/v1/tools/{tool.pk}/life").data
    assert own["basis"].startswith("From 1 failure, 1 tool in service or retired sound, and")
    assert 0.5 < own["chance_of_promised"]["middle"] < 1
    assert own["shots_left"]["low"] < own["shots_left"]["kept"] < own["shots_left"]["high"]
    assert own["cast_replacement_by"] < own["lasts_to"]


def test_nothing_known_is_said_so(api, site):
    own = api().get(f"/api/v1/tools/{make_tool(site).pk}/life").data
    assert "State a life" in own["basis"]
    assert own["shots_left"] is None
    family = make_family(site)
    life = api().get(f"/api/v1/tool-families/{family.pk}/life").data
    assert (life["median_shots"], life["survival"]) == (None, [])


def test_a_tool_takes_no_family_of_another_site(api, site, other_site):
    client, family = api("tool_keeper"), make_family(other_site)
    body = {"code": "T-1", "name": "Cover", "kind": "single", "family": str(family.pk)}
    assert client.post("/api/v1/tools", body).status_code == 422
    with pytest.raises(ValidationError, match="belongs to another site"):
        make_tool(site, family=family)
