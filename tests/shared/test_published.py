"""The published description only grows: what was promised once is kept."""

import copy
import json

import pytest

from tests.shared.published import FILE, broken, described, promised

MOST_BEHIND = 30
"""Operations and schemas that may still change as they like, since nobody was promised them."""


@pytest.fixture(scope="module")
def now():
    return described()


def test_nothing_that_was_promised_is_gone_or_narrower(now):
    old = json.loads(FILE.read_text(encoding="utf-8"))
    assert list(broken(old, promised(now))) == []


def test_what_was_added_is_promised_before_long(now):
    """`python -m tests.shared.published` writes it down."""
    old = json.loads(FILE.read_text(encoding="utf-8"))
    behind = [place for place, fields in promised(now).items() if old.get(place) != fields]
    assert len(behind) <= MOST_BEHIND, behind


def spoil(description, way):
    schemas, paths = description["components"]["schemas"], description["paths"]
    order, new = schemas["ToolOrder"], schemas["NewToolOrderRequest"]
    match way:
        case "an operation":
            del paths["/api/v1/tool-orders/{id}/holds"]["post"]
        case "a parameter":
            paths["/api/v1/events"]["get"]["parameters"].pop()
        case "an answered field":
            del order["properties"]["number"]
        case "a word":
            order["properties"]["status"]["enum"].remove("done")
        case "a field that may be left out":
            order["required"].remove("number")
        case "a field that may be null":
            order["properties"]["number"]["type"] = ["string", "null"]
        case "a field that must be sent":
            new["required"].append("customer")
        case "a kind of what is sent":
            new["properties"]["customer"]["type"] = "string"
        case "a member inside":
            items = paths["/api/v1/stock"]["get"]["responses"]["200"]["content"]
            items = items["application/json"]["schema"]["oneOf"][0]["properties"]["items"]
            del items["items"]["properties"]["free"]


@pytest.mark.parametrize(
    "way",
    [
        "an operation", "a parameter", "an answered field", "a word",
        "a field that may be left out", "a field that may be null", "a field that must be sent",
        "a kind of what is sent", "a member inside",
    ],
)  # fmt: skip
def test_each_way_to_take_something_away_is_found(now, way):
    other = copy.deepcopy(now)
    spoil(other, way)
    assert len(list(broken(promised(now), promised(other)))) == 1
    assert [row for row in broken(promised(other), promised(now)) if "gone" in row] == []


def test_what_is_added_breaks_nothing(now):
    other = copy.deepcopy(now)
    schemas = other["components"]["schemas"]
    schemas["ToolOrder"]["properties"]["colour"] = {"type": "string"}
    inner = {"type": "object", "required": ["tone"], "properties": {"tone": {"type": "string"}}}
    several = {"type": "array", "items": inner}
    schemas["NewToolOrderRequest"]["properties"]["colours"] = several
    schemas["ToolOrder"]["properties"]["status"]["enum"].append("resting")
    other["paths"]["/api/v1/colours"] = other["paths"]["/api/v1/lots"]
    assert list(broken(promised(now), promised(other))) == []
