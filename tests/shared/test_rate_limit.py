"""What a caller is told of the calls that are left."""

import re
from datetime import timedelta

import pytest
from django.core.cache import cache

from shared.api.throttles import PerCaller


@pytest.fixture
def three_a_minute(monkeypatch, frozen):
    monkeypatch.setattr(PerCaller, "THROTTLE_RATES", {"caller": "3/min", "stranger": "2/min"})
    cache.clear()
    yield frozen
    cache.clear()


def told(answer):
    """Policy, quota, window, calls left, seconds; as the draft writes them."""
    policy = re.fullmatch(r'"(\w+)";q=(\d+);w=(\d+)', answer.headers["RateLimit-Policy"])
    now = re.fullmatch(r'"(\w+)";r=(\d+);t=(\d+)', answer.headers["RateLimit"])
    assert policy[1] == now[1]
    return (policy[1], *map(int, (policy[2], policy[3], now[2], now[3])))


def test_calls_left_are_told_until_none_is(api, three_a_minute):
    client = api("planner")
    assert told(client.get("/api/v1/me")) == ("caller", 3, 60, 2, 60)
    three_a_minute.shift(timedelta(seconds=20))
    assert told(client.get("/api/v1/me")) == ("caller", 3, 60, 1, 40)
    assert told(client.get("/api/v1/me")) == ("caller", 3, 60, 0, 40)
    over = client.get("/api/v1/me")
    assert over.status_code == 429
    assert told(over) == ("caller", 3, 60, 0, 40)
    assert over.headers["Retry-After"] == "40"
    three_a_minute.shift(timedelta(seconds=41))
    again = client.get("/api/v1/me")
    assert again.status_code == 200
    assert told(again)[3:] == (0, 19), "two calls of the last minute and this one"


def test_strangers_have_a_limit_of_their_own_and_pages_tell_none(api, three_a_minute, browser_of):
    assert told(api(None).get("/api/v1/openapi.json")) == ("stranger", 2, 60, 1, 60)
    assert "RateLimit" not in browser_of("planner").get("/week/").headers
