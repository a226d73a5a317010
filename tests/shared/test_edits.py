"""Tags and If-Match: RFC 9110, 13.1.1 and 8.8.3.2; merge patch: RFC 7396."""

import pytest

from shared.access.models import Site
from shared.api.etags import strong_tags

SITES = "/api/v1/sites"


@pytest.fixture
def address(site):
    return f"{SITES}/{site.pk}"


def test_a_row_answers_its_tag_and_304_to_who_has_it(api, site, address):
    caller = api("technician")
    response = caller.get(address)
    assert response["ETag"] == f'"{site.pk}-1"'
    assert response.json()["etag"] == response["ETag"]
    again = caller.get(address, headers={"If-None-Match": response["ETag"]})
    assert (again.status_code, again.content) == (304, b"")


def test_a_change_needs_the_tag_that_was_read(api, site, address):
    caller = api()
    tag = caller.get(address)["ETag"]
    missing = caller.patch(address, {"name": "New"})
    assert (missing.status_code, missing.json()["code"]) == (428, "if_match_missing")
    done = caller.patch(address, {"name": "New"}, etag=tag)
    assert done.status_code == 200
    assert done["ETag"] == f'"{site.pk}-2"' == done.json()["etag"]
    stale = caller.patch(address, {"name": "Other"}, etag=tag)
    assert stale.status_code == 412
    assert stale.json()["current_etag"] == done["ETag"]
    site.refresh_from_db()
    assert (site.name, site.version) == ("New", 2)


def test_a_temperature_no_shop_has_is_refused_by_the_site_in_words(api, site, address):
    caller = api()
    tag = caller.get(address)["ETag"]
    answer = caller.patch(address, {"expected_c": "60.0"}, etag=tag)
    assert answer.status_code == 422
    assert "must be 0 to 45 °C" in answer.json()["detail"]
    site.refresh_from_db()
    assert (site.expected_c, site.version) == (20, 1)
    new = caller.post(SITES, {"code": "second", "name": "Second", "expected_c": "17.5"})
    assert (new.status_code, new.json()["expected_c"]) == (201, "17.5")


def test_the_tag_is_compared_before_the_body_is_judged(api, address):
    response = api().patch(address, {"expected_c": "nonsense"}, etag='"9-9"')
    assert response.status_code == 412


def test_a_weak_tag_never_matches(api, site, address):
    tag = f'W/"{site.pk}-1"'
    assert api().patch(address, {"name": "New"}, etag=tag).status_code == 412
    assert strong_tags('W/"1", "2", "3,4"') == {'"2"', '"3,4"'}


def test_a_star_matches_any_version(api, address):
    assert api().patch(address, {"name": "New"}, etag="*").status_code == 200


def test_only_named_members_change(api, site, address):
    response = api().generic(
        "PATCH",
        address,
        b'{"expected_c": 21.5}',
        content_type="application/merge-patch+json",
        headers={"If-Match": "*"},
    )
    assert response.status_code == 200, response.content
    assert response.json()["expected_c"] == "21.5"
    assert response.json()["name"] == site.name


@pytest.mark.parametrize(
    "value", ["NaN", "1e1", "20,5", " 20", "20\n", "٢٠", "", "20.55", "1000", None, True, [], {}]
)
def test_a_decimal_that_does_not_fit_is_refused_and_nothing_changes(api, site, address, value):
    response = api().patch(address, {"expected_c": value}, etag="*")
    assert response.status_code == 422
    assert response.json()["errors"][0]["pointer"] == "#/expected_c"
    site.refresh_from_db()
    assert (site.expected_c, site.version) == (20, 1)


def test_a_site_elsewhere_is_answered_like_an_unknown_id(api, other_site):
    caller = api()
    elsewhere = caller.get(f"{SITES}/{other_site.pk}")
    unknown = caller.get(f"{SITES}/{other_site.pk + 1000}")
    assert elsewhere.status_code == unknown.status_code == 404
    strip = lambda r: {k: v for k, v in r.json().items() if k != "request_id"}  # noqa: E731
    assert strip(elsewhere) == strip(unknown)
    assert caller.patch(f"{SITES}/{other_site.pk}", {"name": "X"}, etag="*").status_code == 404
    assert Site.objects.get(pk=other_site.pk).name == other_site.name


@pytest.mark.parametrize("pk", ["0", "-1", "abc", "1.0", "9" * 19, "01"])
def test_ids_of_another_form_lead_nowhere(api, pk):
    assert api().get(f"{SITES}/{pk}").status_code == 404
