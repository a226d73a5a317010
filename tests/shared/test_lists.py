"""Lists: signed cursors, allow-lists of parameters, chosen fields."""

import pytest

from shared.access.models import Membership, Site
from tests.callers import caller, make_site, make_user

SITES = "/api/v1/sites"


@pytest.fixture
def many(site):
    """An administrator of 30 sites, of which several share a name."""
    user = make_user("administrator", site)
    sites = [site]
    for number in range(29):
        place = make_site(f"s{number:02d}", time_zone="UTC")
        Site.objects.filter(pk=place.pk).update(name=f"Name {number % 4}")
        Membership.objects.create(user=user, site=place, role="administrator")
        sites.append(place)
    return caller(user, sites)


def walk(client, address):
    seen = []
    while address:
        body = client.get(address).json()
        seen.append([item["code"] for item in body["items"]])
        address = body["next"]
    return seen


@pytest.mark.parametrize("sort", ["", "&sort=name", "&sort=-name,code", "&sort=-id"])
def test_a_walk_sees_every_row_once_in_order(many, sort):
    pages = walk(many, f"{SITES}?limit=7{sort}")
    assert [len(page) for page in pages] == [7, 7, 7, 7, 2]
    codes = [code for page in pages for code in page]
    assert len(set(codes)) == 30
    rows = {site.code: site for site in Site.objects.all()}
    if "name" in sort:
        names = [rows[code].name for code in codes]
        assert names == sorted(names, reverse="-name" in sort)


def test_rows_that_stay_are_seen_once_while_others_come_and_go(many):
    first = many.get(f"{SITES}?limit=7").json()
    Site.objects.filter(code__in=["s00", "s10"]).delete()
    make_site("aaa")
    rest = [code for page in walk(many, first["next"]) for code in page]
    seen = [item["code"] for item in first["items"]] + rest
    assert sorted(set(seen)) == sorted(seen)
    assert {f"s{n:02d}" for n in range(29)} - {"s10"} <= set(seen) | {"s00"}


def test_a_cursor_belongs_to_its_filters_and_cannot_be_made_up(many):
    following = many.get(f"{SITES}?limit=7").json()["next"]
    other = many.get(following + "&sort=name")
    assert (other.status_code, other.json()["errors"][0]["parameter"]) == (400, "cursor")
    assert many.get(f"{SITES}?cursor=made-up").status_code == 400


@pytest.mark.parametrize("limit", ["0", "201", "-1", "x", "1.5", "9" * 30, "١"])
def test_a_limit_outside_1_to_200_is_refused_with_the_limit(many, limit):
    response = many.get(SITES, {"limit": limit})
    assert response.status_code == 400
    assert "must be a whole number from 1 to 200" in response.json()["detail"]


@pytest.mark.parametrize(
    ("query", "parameter", "words"),
    [
        ("colour=red", "colour", "is not a parameter here"),
        ("limit=5&limit=6", "limit", "stands 2 times"),
        ("sort=expected_c", "sort", "can be sorted by code, name, id"),
        ("fields=code,price", "fields", "known are id, code"),
        ("site=nowhere", "site", "yours are"),
        ("site=%00", "site", "NUL"),
        ("sort=", "sort", "is empty; give a value or leave it out"),
    ],
)
def test_unknown_parameters_are_refused_not_ignored(many, query, parameter, words):
    response = many.get(f"{SITES}?{query}")
    assert response.status_code == 400
    (error,) = response.json()["errors"]
    assert error["parameter"] == parameter
    assert words in error["detail"]


def test_unknown_parameters_are_refused_on_writes_too(many):
    assert many.post(f"{SITES}?force=1", {"code": "x", "name": "X"}).status_code == 400
    assert not Site.objects.filter(code="x").exists()


def test_only_the_fields_asked_for_are_answered(many, site):
    (item,) = many.get(f"{SITES}?fields=code,name&site=main").json()["items"]
    assert item == {"code": "main", "name": site.name}
    assert list(many.get(f"{SITES}/{site.pk}?fields=id").json()) == ["id"]


def test_a_list_shows_only_ones_own_sites(api, other_site):
    items = api("technician").get(SITES).json()["items"]
    assert [item["code"] for item in items] == ["main"]


@pytest.mark.parametrize(
    ("address", "words"),
    [
        ("mixers?in_use=maybe", "give true or false"),
        ("shifts?weekday=0.5", "give a whole number"),
        ("movements?material=1e2", "give a whole number"),
        ("movements?happened_from=2026-11-25", "give a moment such as"),
        ("movements?happened_from=2026-11-25T12:00:00", "give a moment such as"),
    ],
)
def test_a_filter_that_cannot_be_read_is_refused_and_not_left_out(api, address, words):
    response = api().get(f"/api/v1/{address}")
    assert response.status_code == 400
    assert words in response.json()["detail"]
