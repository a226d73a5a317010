"""Days on which Redis or PostgreSQL is away: what goes on, and what is said of the rest."""

import json
import re
import time
import urllib.error
import urllib.request
from datetime import timedelta

import psycopg
import pytest
from django.db import InterfaceError, OperationalError
from django.test import Client, RequestFactory

from planning.schedule.models import WeekPlan
from shared import clock
from shared.api import problems
from shared.config.cache import PAUSE_S, RedisOrMemory
from shared.retry import is_away
from shared.send import send
from tests.servers import HOST, free_port, open_shop, redis

OPTIONS = {"OPTIONS": {"socket_connect_timeout": 0.5, "socket_timeout": 0.5}}


def cause(kind, code=None):
    """Return an error as Django hands it on from the driver."""
    inner = kind("gone")
    inner.sqlstate = code
    error = OperationalError("gone")
    error.__cause__ = inner
    return error


@pytest.mark.parametrize(
    ("error", "away"),
    [
        (cause(psycopg.OperationalError), True),
        (cause(psycopg.errors.AdminShutdown, "57P01"), True),
        (cause(psycopg.errors.ConnectionFailure, "08006"), True),
        (cause(psycopg.errors.DeadlockDetected, "40P01"), False),
        (cause(psycopg.errors.QueryCanceled, "57014"), False),
        (OperationalError("no such table: shop_lot"), False),
        (InterfaceError("made by hand"), False),
    ],
)
def test_a_database_that_is_away_is_told_from_other_faults(error, away):
    assert is_away(error) is away


def test_a_commit_cut_off_is_answered_with_what_nobody_knows():
    request = RequestFactory().post("/api/v1/movements")
    members, headers = problems.describe(cause(psycopg.OperationalError), request)
    assert (members["status"], members["code"]) == (503, "database_away")
    assert headers["Retry-After"] == "5"
    assert "not known whether it was kept" in members["detail"]
    assert "same Idempotency-Key" in members["detail"]
    members, _ = problems.describe(RuntimeError(), request)
    assert members["status"] == 500
    assert "nothing was changed" not in members["detail"]


def test_the_cache_goes_on_by_itself_without_redis_and_goes_back_to_it(monkeypatch):
    port = free_port()
    cache = RedisOrMemory(f"redis://{HOST}:{port}/0", dict(OPTIONS))
    began = time.monotonic()
    cache.set("a", 1, 60)
    cache.set_many({"b": 2, "c": 3})
    assert cache.incr("a") == 2
    assert cache.get_many(["a", "b"]) == {"a": 2, "b": 2}
    assert cache.add("a", 5) is False
    assert cache.has_key("c")
    assert cache.touch("c", 60)
    cache.delete("c")
    cache.delete_many(["b"])
    assert (cache.get("b"), cache.get("c")) == (None, None)
    assert not cache.answers()
    for _ in range(100):
        cache.get("a")
    assert time.monotonic() - began < 2, "a Redis that is away is not waited for at each call"


@pytest.mark.servers
def test_the_cache_goes_back_to_redis_once_it_answers(monkeypatch):
    with redis() as url:
        cache = RedisOrMemory(url, dict(OPTIONS))
        cache.set("here", 1)
        assert cache.answers()
        assert cache.get("here") == 1
        cache._asked_again_at = time.monotonic() + PAUSE_S
        assert cache.get("here") is None, "the pause is kept"
        cache._asked_again_at = 0.0
        assert cache.get("here") == 1


def test_a_plan_is_asked_for_without_a_broker(site, api, settings, monkeypatch):
    """The wish is a row, which the timetable finds; the page does not fail for the message."""
    from kombu.exceptions import OperationalError as BrokerAway

    from planning import tasks

    def away(*_):
        raise BrokerAway("connection refused")

    monkeypatch.setattr(tasks.solve_week, "delay", away)
    send("planning.tasks.solve_week", 7)
    week = (clock.today(site) + timedelta(days=7)).isocalendar()
    body = {"week": f"{week.year}-W{week.week:02d}", "seconds": "5"}
    answer = api("planner").post("/api/v1/plans", body)
    assert answer.status_code < 300, answer.json()
    assert WeekPlan.objects.get().state == "waiting"


def test_readyz_tells_the_truth_before_the_tables_are_there(client, db, monkeypatch, settings):
    """Each part fails by itself; none of them makes the answer a fault."""
    from django.db import DatabaseError

    def broken():
        raise DatabaseError("no such table")

    monkeypatch.setattr("shared.config.health._migrations", broken)
    answer = client.get("/readyz")
    assert answer.status_code == 503
    redis = {"redis": "ok"} if settings.REDIS_URL else {}  # named only where a shop has one
    assert answer.json() == redis | {
        "database": "ok", "disk": "ok", "migrations": "failing", "reminders": "failing",
    }  # fmt: skip


def test_a_page_says_that_the_database_is_away(monkeypatch):
    def away(*_):
        raise cause(psycopg.OperationalError)

    monkeypatch.setattr("django.contrib.auth.views.LoginView.dispatch", away)
    answer = Client(raise_request_exception=False).get("/sign-in/")
    assert (answer.status_code, answer["Retry-After"]) == (503, "5")
    assert b"not known whether it was kept" in answer.content


def ask(url: str | urllib.request.Request) -> tuple[int, dict, dict]:
    """Return status, headers and JSON of a call."""
    try:
        with urllib.request.urlopen(url, timeout=20) as answer:
            status, headers, body = answer.status, answer.headers, answer.read()
    except urllib.error.HTTPError as error:
        status, headers, body = error.code, error.headers, error.read()
    kind = headers.get("Content-Type", "")
    return status, headers, json.loads(body) if "json" in kind else {}


@pytest.mark.servers
def test_without_redis_pages_and_calls_are_answered():
    with open_shop(demo=True, REDIS_URL=f"redis://{HOST}:{free_port()}/0") as shop:
        assert ask(f"{shop.url}/api/v1/lots")[0] == 401, "throttled by the process itself"
        made = shop.manage("access_token", "reader", "--scope", "lots:read")
        secret = re.search(r"shop_[\w-]+", made)[0]
        known = {"Authorization": f"Bearer {secret}"}
        request = urllib.request.Request(f"{shop.url}/api/v1/lots", headers=known)
        status, _, body = ask(request)
        assert (status, bool(body["items"])) == (200, True)
        assert ask(f"{shop.url}/sign-in/")[0] == 200
        status, _, body = ask(f"{shop.url}/readyz")
        assert (status, body["redis"], body["database"]) == (503, "failing", "ok")
        assert body["reminders"] == "failing", "no worker has run; that alone is the 503"


@pytest.mark.servers
def test_without_postgresql_the_answer_is_503_and_when_to_come_back():
    away = f"postgres://shop@{HOST}:{free_port()}/shop"
    with open_shop(DATABASE_URL=away, CALLS_PER_MINUTE="1000000") as shop:
        request = urllib.request.Request(
            f"{shop.url}/api/v1/lots", headers={"Authorization": "Bearer shop_unknown"}
        )
        status, headers, body = ask(request)
        assert (status, headers["Retry-After"]) == (503, "5"), body
        assert body["code"] == "database_away"
        status, _, body = ask(f"{shop.url}/readyz")
        assert (status, body["database"]) == (503, "failing")
        assert ask(f"{shop.url}/livez")[0] == 200
