"""The pages of patterns, as a browser sends and reads them."""

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client

from planning.patterns import actions
from planning.patterns.models import PatternMesh
from tests.callers import make_user

SETUP = {
    "unit": "mm",
    "pull": "+z",
    "parting_mm": "0",
    "margin_mm": "30",
    "cover_mm": "15",
    "wall_draft_deg": "0",
    "band_low_deg": "3",
    "band_high_deg": "5",
    "thickest_lift_mm": "30",
}


def signed_in(role, site, **options):
    client = Client(**options)
    client.force_login(make_user(role, site), backend="django.contrib.auth.backends.ModelBackend")
    return client


@pytest.fixture
def planner(shop_site):
    return signed_in("planner", shop_site)


def upload(client, data, **fields):
    return client.post(
        "/patterns/new/", {**SETUP, "file": SimpleUploadedFile("groove.stl", data), **fields}
    )


def test_handing_in_leads_to_a_page_that_looks_again_until_it_is_read(planner, dovetail, now):
    answer = upload(planner, dovetail)
    pattern = PatternMesh.objects.get()
    assert answer.status_code == 302
    assert answer.url == f"/patterns/{pattern.pk}/"
    page = planner.get(answer.url).content.decode()
    assert 'hx-trigger="every 2s"' in page
    actions.examine(pattern_id=pattern.pk, now=now)
    page = planner.get(answer.url).content.decode()
    assert "every 2s" not in page
    assert "2 undercuts of 93.91 cm2 together would lock the casting." in page
    assert "Undercut: leans back and locks" in page
    assert f"/patterns/{pattern.pk}/above.png" in page
    assert "style=" not in page


def test_masses_are_shown_in_a_system(planner, read, shop_site):
    from shop import stores

    pattern = read()
    info = stores.system_by_code("Q")
    page = planner.get(f"/patterns/{pattern.pk}/?system={info.id}").content.decode()
    kg = pattern.report["halves"][0]["casting_l"] * float(info.mixed_density_kg_l)
    assert f"{kg:.3f}\N{NO-BREAK SPACE}kg" in page


def test_pictures_are_served_to_those_of_the_site_only(planner, read, other_site):
    pattern = read()
    for view in ("above", "below"):
        answer = planner.get(f"/patterns/{pattern.pk}/{view}.png")
        assert answer["Content-Type"] == "image/png"
        assert answer.content.startswith(b"\x89PNG")
    stranger = signed_in("planner", other_site)
    assert stranger.get(f"/patterns/{pattern.pk}/above.png").status_code == 404
    assert stranger.get(f"/patterns/{pattern.pk}/").status_code == 404


def test_bad_fields_are_marked_and_nothing_is_kept(planner, dovetail):
    answer = upload(planner, dovetail, unit="", margin_mm="wide", cover_mm="-2")
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "not a number; give digits with one point" in page
    assert "greater than or equal to 0" in page
    assert not PatternMesh.objects.exists()


def test_a_file_of_another_kind_is_refused_in_words(planner, dovetail):
    file = SimpleUploadedFile("groove.exe", dovetail)
    answer = planner.post("/patterns/new/", {**SETUP, "file": file})
    assert answer.status_code == 422
    assert "a pattern may be stl, ply, obj, 3mf." in answer.content.decode()


def test_a_body_too_long_is_refused_before_it_is_read(planner):
    answer = planner.generic(
        "POST",
        "/patterns/new/",
        b"--",
        content_type="multipart/form-data; boundary=x",
        CONTENT_LENGTH=str(actions.LARGEST_BYTES + 20_001),
    )
    assert answer.status_code == 413
    assert "at most 50,000,084 are taken" in answer.content.decode()


def test_handing_in_needs_a_token_against_forged_forms(shop_site, dovetail):
    client = signed_in("planner", shop_site, enforce_csrf_checks=True)
    assert upload(client, dovetail).status_code == 403
    assert not PatternMesh.objects.exists()


def test_a_refused_file_shows_why_and_can_be_examined_another_way(planner, read, now):
    from tests.planning.core.pattern.meshes import binary_stl, box_mesh

    pattern = read(binary_stl(box_mesh(0.03, 0.02, 0.01)))
    page = planner.get(f"/patterns/{pattern.pk}/").content.decode()
    assert "The longest side is 0.03 mm when the file is read in mm" in page
    planner.post(f"/patterns/{pattern.pk}/again/", {**SETUP, "unit": "m"})
    pattern = actions.examine(pattern_id=pattern.pk, now=now)
    assert pattern.report["volume_l"] == pytest.approx(0.006, rel=1e-6)


def test_the_repair_button_asks_for_nothing_but_repair(planner, read, now):
    from planning.core.pattern.mesh import Mesh
    from tests.planning.core.pattern.meshes import binary_stl, dovetail_mesh

    whole = dovetail_mesh()
    pattern = read(binary_stl(Mesh(whole.points_mm, whole.facets[1:])), cover_mm="33")
    page = planner.get(f"/patterns/{pattern.pk}/").content.decode()
    assert "Repair and examine again" in page
    planner.post(f"/patterns/{pattern.pk}/again/", {"only_repair": "1"})
    actions.examine(pattern_id=pattern.pk, now=now)
    page = planner.get(f"/patterns/{pattern.pk}/").content.decode()
    assert "1 hole with 3 edges closed by 1 flat facet" in page
    assert PatternMesh.objects.get().cover_mm == 33


def test_a_pour_takes_the_pattern_from_the_page(planner, read, take):
    pattern, pour = read(), take()
    answer = planner.post(f"/patterns/{pattern.pk}/use/", {"pour": pour.pk, "half": "A"})
    assert answer.url == f"/pours/{pour.pk}/"
    pour.refresh_from_db()
    assert pour.geometry == "mesh"
    gone = planner.post(f"/patterns/{pattern.pk}/throw-away/")
    assert gone.status_code == 409
    assert "it is kept as their record" in gone.content.decode()


def test_a_technician_looks_but_does_not_touch(shop_site, read, dovetail):
    pattern, client = read(), signed_in("technician", shop_site)
    page = client.get(f"/patterns/{pattern.pk}/").content.decode()
    assert "Throw away" not in page
    assert "Use this pattern" not in page
    assert client.post(f"/patterns/{pattern.pk}/throw-away/").status_code == 403
    assert upload(client, dovetail).status_code == 403
    assert client.get("/patterns/").status_code == 200


def test_the_list_takes_the_same_queries_for_one_pattern_and_for_ten(
    planner, hand_in, django_assert_max_num_queries
):
    hand_in()
    planner.get("/patterns/")
    with django_assert_max_num_queries(50) as few:
        planner.get("/patterns/")
    for _ in range(9):
        hand_in()
    with django_assert_max_num_queries(len(few)):
        planner.get("/patterns/")


def test_the_pattern_to_turn_comes_from_here_and_only_once_it_is_read(planner, read, hand_in):
    waiting = hand_in()
    assert planner.get(f"/patterns/{waiting.pk}/solid.bin").status_code == 404
    pattern = read()
    page = planner.get(f"/patterns/{pattern.pk}/").content.decode()
    assert f'data-solid="/patterns/{pattern.pk}/solid.bin' in page
    data = planner.get(f"/patterns/{pattern.pk}/solid.bin").content
    facets = int.from_bytes(data[:4], "little")
    assert facets == pattern.report["soundness"]["facets"]
    assert len(data) == 16 + 19 * facets
    pattern.solid.unlink()
    assert "data-solid" not in planner.get(f"/patterns/{pattern.pk}/").content.decode()


def test_a_pour_and_its_pattern_lead_to_each_other(planner, read, take):
    pattern = read()
    pour = take()
    assert 'href="/patterns/"' in planner.get(f"/pours/{pour.pk}/").content.decode()
    actions.use_for_pour(pattern=pattern, half="A", pour=pour)
    assert f'href="/patterns/{pattern.pk}/"' in planner.get(f"/pours/{pour.pk}/").content.decode()
    page = planner.get(f"/patterns/{pattern.pk}/").content.decode()
    assert f'href="/pours/{pour.pk}/"' in page
