import pytest

from shop.tools.models import ToolEvent
from tests.factories.shop import make_tool

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
