"""The feed of events: every event once, in an order that stays, to those who may see it."""

import json
import os
import subprocess
import sys
from datetime import UTC, datetime
from unittest import mock

import pytest
from django.db import DatabaseError, IntegrityError, connection, transaction

from shared.events import actions, placing
from shared.events.kinds import EventKind, ObjectKind
from shared.events.models import Event, FeedPlace, UnplacedEvent
from tests.callers import caller, make_user
from tests.servers import ROOT, postgres, short_folder

AT = datetime(2026, 11, 30, 9, 30, tzinfo=UTC)
FEED = "/api/v1/events"


def tell(site, pk=1, kind=EventKind.LOT_HELD, **more):
    with transaction.atomic():
        return actions.add(
            site=site, object_kind=ObjectKind.LOT, object_id=pk, kind=kind, at=AT, **more
        )


@pytest.fixture
def reader(site):
    return caller(make_user("integration", site), [site])


def ids(answer):
    assert answer.status_code == 200, answer.json()
    return [item["id"] for item in answer.json()["items"]]


@pytest.mark.django_db
def test_an_event_has_one_form_and_its_number(site, reader):
    tell(site)
    event = tell(site, reason="leaking", facts={"lot": "R-1"}, new={"quantity_kg": 2})
    answer = reader.get(FEED)
    assert answer.json()["items"][1] == {
        "id": event.uid,
        "type": "lot.held",
        "timestamp": "2026-11-30T09:30:00Z",
        "data": {
            "version": 1,
            "site": "main",
            "object": {"kind": "lot", "id": "1"},
            "lot": "R-1",
            "sequence": 2,
            "at": "2026-11-30T09:30:00Z",
            "reason": "leaking",
            "old": {},
            "new": {"quantity_kg": 2},
        },
    }
    assert answer.json()["cursor"] == "2"
    assert answer["Link"] == f'<{answer.json()["next"]}>; rel="next"'


@pytest.mark.django_db
def test_pages_follow_one_another_and_the_end_is_kept(site, reader):
    told = [tell(site, pk).uid for pk in (1, 2, 1, 3, 2)]
    seen, address = [], f"{FEED}?limit=2"
    for _ in range(3):
        answer = reader.get(address)
        seen += ids(answer)
        address = answer.json()["next"]
    assert seen == told
    assert answer.json()["more"] is False
    assert ids(reader.get(address)) == []
    late = tell(site).uid
    assert ids(reader.get(address)) == [late]


@pytest.mark.django_db
def test_the_cursor_passes_what_a_filter_leaves_out(site, reader):
    tell(site, kind=EventKind.EXPIRING)
    held = tell(site, 2, reference="P-77").uid
    tell(site, kind=EventKind.EXPIRING)
    answer = reader.get(f"{FEED}?kinds=lot.held,goods.received")
    assert ids(answer) == [held]
    assert answer.json()["cursor"] == "3"
    assert ids(reader.get(f"{FEED}?object=lot:2")) == [held]
    assert ids(reader.get(f"{FEED}?customer_reference=P-77")) == [held]


@pytest.mark.django_db
def test_other_sites_are_not_seen(site, other_site, reader):
    mine, theirs = tell(site, 1).uid, tell(other_site, 2).uid
    assert ids(reader.get(FEED)) == [mine]
    assert ids(caller(make_user("integration", other_site), [other_site]).get(FEED)) == [theirs]
    assert reader.get(f"{FEED}?site=north").status_code == 400


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("asked", "words"),
    [
        ("after=x", "give the cursor"),
        ("after=-1", "give the cursor"),
        ("kinds=lot.lost", "known are order.taken"),
        ("object=lot", "give kind:id"),
        ("object=shop:1", "give kind:id"),
        ("limit=201", "from 1 to 200"),
        ("kind=lot.held", "is not a parameter here"),
    ],
)
def test_what_cannot_be_asked_is_refused_with_the_reason(reader, asked, words):
    answer = reader.get(f"{FEED}?{asked}")
    assert answer.status_code == 400
    assert words in answer.json()["errors"][0]["detail"]


@pytest.mark.django_db
def test_events_stay_as_they_are_and_numbers_are_unique(site):
    event = tell(site)
    for spoil in (
        lambda: Event.objects.filter(pk=event.pk).update(reason="x"),
        lambda: Event.objects.filter(pk=event.pk).delete(),
    ):
        with pytest.raises(DatabaseError, match="append-only"), transaction.atomic():
            spoil()
    again = Event.objects.get(pk=event.pk)
    again.pk, again.uid = None, "evt_2"
    with pytest.raises(IntegrityError), transaction.atomic():
        Event.objects.bulk_create([again])


@pytest.mark.django_db
def test_an_event_goes_with_its_change_or_not_at_all(site):
    none = mock.patch.object(connection, "in_atomic_block", False)
    with none, pytest.raises(RuntimeError, match="in the transaction"):
        actions.add(
            site=site,
            object_kind=ObjectKind.LOT,
            object_id=1,
            kind=EventKind.LOT_HELD,
            at=AT,
        )
    with transaction.atomic():
        tell(site)
        transaction.set_rollback(True)
    assert not Event.objects.exists()
    assert not UnplacedEvent.objects.exists()
    assert tell(site).sequence == 1


@pytest.mark.django_db
def test_a_page_costs_the_same_however_many_events_there_are(
    site, reader, django_assert_max_num_queries
):
    for pk in range(60):
        tell(site, pk)
    placing.place_waiting()
    reader.get(FEED)
    with django_assert_max_num_queries(9):
        assert len(ids(reader.get(FEED))) == 50
    assert FeedPlace.objects.count() == 60


def run(module, *arguments, **env):
    kept = {k: v for k, v in os.environ.items() if k not in ("DATABASE_URL", "REDIS_URL")}
    done = subprocess.run(
        [sys.executable, "-m", module, *arguments],
        env=kept | {"DJANGO_SETTINGS_MODULE": "shared.config.settings.dev"} | env,
        cwd=ROOT,
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
    )
    assert done.returncode == 0, done.stderr[-3000:]
    return json.loads(done.stdout.splitlines()[-1])


@pytest.mark.servers
def test_no_event_is_passed_over_while_writers_commit_in_any_order():
    """Transactions that commit late, on PostgreSQL, with a reader who never goes back."""
    with short_folder() as folder, postgres(migrated=True, durable=False) as url:
        found = run("tests.shared.events.late_writers", SHOP_DATA=str(folder), DATABASE_URL=url)
    assert found["slow_is_last"], "the slower writer's lower id must stand behind the faster one"
    assert found["read"] == found["written"] > 200
    assert found["twice"] == 0
    assert found["out_of_order"] == 0


def keeps_all(found):
    assert found["kinds"] == ["order.taken", "order.changed", "pour.date_moved"]
    assert found["sequences"] == [1, 2, 3]
    assert found["payload"]["object"] == {"kind": "order", "id": found["order"]}
    assert "kind" not in found["payload"]
    assert found["payload"]["new"] == {"n": 3}
    assert (found["next"], found["read"]) == (4, 4)
    assert found["old_table"] is False


def test_old_events_of_orders_are_kept_on_sqlite(tmp_path):
    url = f"sqlite:///{tmp_path}/shop.sqlite3"
    keeps_all(run("tests.shared.events.old_rows", SHOP_DATA=str(tmp_path), DATABASE_URL=url))


@pytest.mark.servers
def test_old_events_of_orders_are_kept_on_postgresql(tmp_path, monkeypatch):
    monkeypatch.delenv("DATABASE_URL", raising=False)
    with postgres(durable=False) as url:
        keeps_all(run("tests.shared.events.old_rows", SHOP_DATA=str(tmp_path), DATABASE_URL=url))
