"""Scripts and styles come in few files, packed, and are kept until they change."""

import gzip

import pytest
from django.contrib.staticfiles import finders
from django.test import Client

from shared.bundles import BUNDLES, address_of, bundle_of


@pytest.mark.parametrize("name", BUNDLES)
def test_a_bundle_holds_its_files_is_packed_and_kept_for_a_year(name):
    answer = Client().get(address_of(name), headers={"Accept-Encoding": "gzip, br"})
    assert answer["Content-Encoding"] == "gzip"
    assert answer["Cache-Control"] == "public, max-age=31536000, immutable"
    assert "Accept-Encoding" in answer["Vary"]
    told = gzip.decompress(answer.content)
    for path in BUNDLES[name]:
        with open(finders.find(path), "rb") as file:
            assert file.read() in told
    plain = Client().get(address_of(name), headers={"Accept-Encoding": "identity"})
    assert "Content-Encoding" not in plain
    assert plain.content == told


def test_under_an_old_mark_the_new_content_is_served_and_not_kept():
    mark = bundle_of("batch.js").mark
    old = address_of("batch.js").replace(mark, "0123456789ab")
    answer = Client().get(old, headers={"Accept-Encoding": "identity"})
    assert answer.content == bundle_of("batch.js").plain
    assert answer["Cache-Control"] == "no-cache"


@pytest.mark.django_db
def test_an_unknown_bundle_is_not_found():
    assert Client().get("/bundles/tea.0123456789ab.js").status_code == 404


@pytest.mark.django_db
def test_pages_are_packed_and_the_api_is_not():
    asks = {"Accept-Encoding": "gzip"}
    assert Client().get("/sign-in/", headers=asks)["Content-Encoding"] == "gzip"
    assert "Content-Encoding" not in Client().get("/api/v1/openapi.json", headers=asks)
