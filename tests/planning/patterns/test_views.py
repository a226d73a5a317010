"""Patterns over REST, with a plain client."""

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from rest_framework.test import APIClient

from planning.patterns import actions
from planning.patterns.models import PatternMesh
from tests.callers import caller, fresh_key, make_user

PATH = "/api/v1/patterns"


@pytest.fixture
def planner(shop_site):
    return caller(make_user("planner", shop_site), [shop_site])


@pytest.fixture
def reader(shop_site):
    return caller(make_user("technician", shop_site), [shop_site])


def send(client, data, file_name="groove.stl", key=None, **fields):
    body = {"unit": "mm", **fields, "file": SimpleUploadedFile(file_name, data)}
    headers = {"Idempotency-Key": key or fresh_key()}
    return client.post(PATH, body, format="multipart", headers=headers)


def test_a_pattern_is_taken_in_and_read_afterwards(
    planner, dovetail, django_capture_on_commit_callbacks
):
    with django_capture_on_commit_callbacks(execute=True):
        made = send(planner, dovetail, name="Groove", margin_mm="30", cover_mm="15")
    assert made.status_code == 201, made.json()
    assert made.json()["state"] == "waiting"
    assert made["Location"].endswith(f"{PATH}/{made.json()['id']}")
    found = planner.get(f"{PATH}/{made.json()['id']}").json()
    assert found["state"] == "ready"
    assert found["name"] == "Groove"
    assert found["margin_mm"] == "30.00"
    assert found["report"]["undercut_count"] == 2
    assert found["report"]["halves"][0]["casting_l"] == pytest.approx(2.493, abs=1e-6)
    (row,) = planner.get(PATH).json()["items"]
    assert "report" not in row
    picture = planner.get(f"{PATH}/{row['id']}/pictures/below", headers={"Accept": "image/png"})
    assert picture.status_code == 200
    assert picture["Content-Type"] == "image/png"
    assert picture.content.startswith(b"\x89PNG")


def test_the_same_key_and_file_make_one_pattern_and_another_file_is_refused(planner, dovetail):
    key = fresh_key()
    first, again = send(planner, dovetail, key=key), send(planner, dovetail, key=key)
    assert (first.status_code, again.status_code) == (201, 201)
    assert again.json()["id"] == first.json()["id"]
    assert again["Idempotent-Replayed"] == "true"
    other = send(planner, dovetail[:-50], key=key)
    assert other.status_code == 422
    assert other.json()["code"] == "idempotency_key_used"
    assert PatternMesh.objects.count() == 1


@pytest.mark.parametrize(
    ("fields", "pointer", "said"),
    [
        ({"unit": "ell"}, "#/unit", "is not one of: mm, cm, m, inch."),
        ({"pull": "up"}, "#/pull", "is not one of: +z, -z"),
        ({"margin_mm": "-1"}, "#/margin_mm", "margin_mm is '-1'"),
        ({"cover_mm": "1e3"}, "#/cover_mm", "without an exponent"),
        ({"repair": "perhaps"}, "#/repair", "must be true or false"),
        ({"colour": "red"}, "#/colour", "is not a field here"),
        ({"band_low_deg": "7"}, "#/band_low_deg", "band_low_deg is 7.0 deg; it must be above 0"),
        ({"file_name": "groove.exe"}, "#/file", "a pattern may be stl, ply, obj, 3mf."),
    ],
)
def test_bad_fields_are_named_and_nothing_is_kept(planner, dovetail, media, fields, pointer, said):
    answer = send(planner, dovetail, **fields)
    assert answer.status_code == 422
    (error,) = answer.json()["errors"]
    assert error["pointer"] == pointer
    assert said in error["detail"]
    assert not PatternMesh.objects.exists()
    assert not media.exists() or not list(media.iterdir())


def test_a_text_is_no_file_and_no_unit_is_no_guess(planner):
    body = {"file": "solid"}
    answer = planner.post(PATH, body, format="multipart")
    errors = {error["pointer"]: error["detail"] for error in answer.json()["errors"]}
    assert answer.status_code == 422
    assert "must be a file, with a file name." in errors["#/file"]
    assert "#/unit" in errors


def test_json_is_not_a_form_with_a_file(planner):
    assert planner.post(PATH, {"unit": "mm"}, format="json").status_code == 415


def test_a_field_given_twice_is_refused(planner, dovetail):
    file = SimpleUploadedFile("a.stl", dovetail)
    body = {"unit": ["mm", "inch"], "file": file}
    answer = planner.post(PATH, body, format="multipart")
    assert answer.status_code == 400
    assert "'unit' stands twice" in answer.json()["detail"]


def test_a_body_too_long_is_refused_before_it_is_read(planner):
    """The length is what the header says; the body itself is two bytes."""
    answer = planner.generic(
        "POST",
        PATH,
        b"--",
        content_type="multipart/form-data; boundary=x",
        CONTENT_LENGTH=str(actions.LARGEST_BYTES + 20_001),
        HTTP_IDEMPOTENCY_KEY=fresh_key(),
    )
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["limit"] == str(actions.LARGEST_BYTES)


def test_examining_again_with_repair_and_using_it_for_a_pour(
    planner, take, dovetail, django_capture_on_commit_callbacks
):
    from planning.core.pattern.mesh import Mesh
    from tests.planning.core.pattern.meshes import binary_stl, dovetail_mesh

    whole = dovetail_mesh()
    leaky = binary_stl(Mesh(whole.points_mm, whole.facets[1:]))
    pour = take()
    with django_capture_on_commit_callbacks(execute=True):
        key = send(planner, leaky).json()["id"]
    uses = f"{PATH}/{key}/uses"
    refused = planner.post(uses, {"pour": str(pour.pk)})
    assert refused.status_code == 409
    assert "has no casting volume" in refused.json()["detail"]
    with django_capture_on_commit_callbacks(execute=True):
        again = planner.post(f"{PATH}/{key}/examinations", {"repair": True})
    assert again.status_code == 202
    used = planner.post(uses, {"pour": str(pour.pk), "half": "A"})
    assert used.status_code == 200, used.json()
    assert used.json()["geometry"] == "mesh"
    kept = planner.delete(f"{PATH}/{key}", etag=planner.get(f"{PATH}/{key}")["ETag"])
    assert kept.status_code == 409
    assert kept.json()["code"] == "pattern_used"


def test_who_may_do_what(shop_site, other_site, reader, dovetail, planner):
    key = send(planner, dovetail).json()["id"]
    assert reader.get(f"{PATH}/{key}").status_code == 200
    assert send(reader, dovetail).status_code == 403
    stranger = caller(make_user("planner", other_site), [other_site])
    assert stranger.get(f"{PATH}/{key}").status_code == 404
    assert stranger.get(f"{PATH}/{key}/pictures/above").status_code == 404
    assert APIClient().get(PATH).status_code == 401


def test_a_pattern_not_read_yet_has_no_picture(planner, dovetail):
    key = send(planner, dovetail).json()["id"]
    answer = planner.get(f"{PATH}/{key}/pictures/above")
    assert answer.status_code == 404
    assert answer.json()["code"] == "not_found"
