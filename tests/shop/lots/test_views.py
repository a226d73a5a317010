from datetime import date, timedelta

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from shared.audit.models import AuditEntry
from tests.callers import make_site
from tests.factories.shop import make_container, make_location, make_lot, make_material
from tests.shop.lots.pdfs import packed_pdf, plain_pdf

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen")]


def test_a_lot_is_held_and_released_with_reasons(api, site):
    lot = make_lot(site)
    client = api("quality")
    address = f"/api/v1/lots/{lot.pk}"
    held = client.post(f"{address}/holds", {"reason": "cloudy sample"})
    assert held.status_code == 201, held.data
    assert (held.data["status"], held.data["status_reason"]) == ("held", "cloudy sample")
    assert client.post(f"{address}/releases", {"reason": ""}).status_code == 422
    released = client.post(f"{address}/releases", {"reason": "test report 12"})
    assert released.data["status"] == "released"


def test_a_retest_extends_a_lot_once(api, site):
    lot = make_lot(site, material=make_material(open_life_days=30))
    client = api("quality")
    address = f"/api/v1/lots/{lot.pk}/retests"
    body = {"expires_on": "2027-12-31", "evidence": "gel time report 7"}
    early = client.post(address, body | {"expires_on": "2027-06-30"})
    assert early.status_code == 422
    assert "must be later than 2027-06-30" in early.data["detail"]
    done = client.post(address, body)
    assert done.status_code == 201, done.data
    assert (done.data["expires_on"], done.data["retested_on"]) == ("2027-12-31", "2026-11-25")
    assert done.data["retested_by"].startswith("quality-main")
    again = client.post(address, body | {"expires_on": "2028-12-31"})
    assert (again.status_code, again.data["code"]) == (409, "already_retested")
    for role in ("technician", "planner", "purchasing"):
        assert api(role).post(address, body).status_code == 403, role


def test_a_mistyped_expiry_is_put_right_with_a_reason_and_stays_on_record(api, site):
    material = make_material(shelf_life_months=12)
    lot = make_lot(site, material, made_on=date(2026, 10, 1), expires_on=date(2026, 12, 31))
    client, address = api("quality"), f"/api/v1/lots/{lot.pk}/expiry-corrections"
    body = {
        "expires_on": "2027-06-30", "reason": "2026 typed for 2027", "evidence": "certificate 12",
    }  # fmt: skip
    assert client.post(address, body | {"reason": " "}).status_code == 422
    early = client.post(address, body | {"expires_on": "2026-09-30"})
    assert "before made_on, 2026-10-01" in early.data["detail"]
    same = client.post(address, body | {"expires_on": "2026-12-31"})
    assert "is usable until 2026-12-31 already" in same.data["detail"]
    done = client.post(address, body)
    assert done.status_code == 201, done.data
    assert done.data["expires_on"] == "2027-06-30"
    assert done.data["expiry_note"] == (
        "put right on 2026-11-25, was 2026-12-31: 2026 typed for 2027; shown by certificate 12"
    )
    entry = AuditEntry.objects.get(kind="shop.lot", object_id=lot.pk)
    assert (entry.before["expires_on"], entry.after["expires_on"]) == ("2026-12-31", "2027-06-30")
    assert "2026 typed for 2027" in entry.after["expiry_note"]
    stricter = client.post(address, body | {"expires_on": "2029-01-01"})
    assert stricter.data["expires_on"] == "2027-10-01"


@pytest.mark.parametrize("until", ["2027-08-31", None])
def test_a_later_expiry_is_for_quality_and_asks_for_evidence(api, site, until):
    lot = make_lot(site, make_material(shelf_life_months=None), expires_on=date(2027, 6, 30))
    address = f"/api/v1/lots/{lot.pk}/expiry-corrections"
    body = {"expires_on": until, "reason": "misread", "evidence": "picture of the label"}
    for role in ("technician", "purchasing", "planner"):
        refused = api(role).post(address, body)
        assert (refused.status_code, refused.data["code"]) == (409, "not_longer"), role
        assert f"{until or 'no expiry'} is later than 2027-06-30" in refused.data["detail"]
        assert (refused.data["value"], refused.data["limit"]) == (str(until), "2027-06-30")
    bare = api("quality").post(address, body | {"evidence": " "})
    assert (bare.status_code, bare.data["errors"][0]["pointer"]) == (422, "#/evidence")
    lot.refresh_from_db()
    assert (lot.expires_on, lot.expiry_note) == (date(2027, 6, 30), "")
    done = api("quality").post(address, body)
    assert done.status_code == 201
    assert done.data["expires_on"] == until
    assert done.data["expiry_note"].endswith("misread; shown by picture of the label")


def test_an_earlier_expiry_needs_neither_quality_nor_evidence(api, site):
    lot = make_lot(site, expires_on=None)
    address = f"/api/v1/lots/{lot.pk}/expiry-corrections"
    for until in ("2027-06-30", "2027-03-31"):
        body = {"expires_on": until, "reason": "the label says so"}
        done = api("technician").post(address, body)
        assert (done.status_code, done.data["expires_on"]) == (201, until)


def test_a_certificate_is_handed_in_and_fetched_by_call(api, site, settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path
    lot, client = make_lot(site), api("technician")
    address = f"/api/v1/lots/{lot.pk}/certificate"
    assert client.get(address).status_code == 404

    def hand_in(data, **fields):
        file = SimpleUploadedFile("c.pdf", data, content_type="application/pdf")
        return client.post(f"{address}s", {"file": file, **fields}, format="multipart")

    done = hand_in(plain_pdf(), certificate="C-77")
    assert done.status_code == 201, done.content
    assert done.json()["certificate_attached"] is True
    assert done.json()["certificate"] == "C-77"
    kept = client.get(address)
    assert b"".join(kept.streaming_content) == plain_pdf()
    assert kept["Content-Disposition"].startswith("attachment")
    assert kept["Content-Type"] == "application/octet-stream"
    refused = hand_in(packed_pdf())
    assert (refused.status_code, refused.json()["errors"][0]["code"]) == (422, "active_content")
    assert b"".join(client.get(address).streaming_content) == plain_pdf()
    assert hand_in(b"text").status_code == 422
    elsewhere = make_lot(make_site("east"))
    other = SimpleUploadedFile("c.pdf", plain_pdf())
    answer = client.post(
        f"/api/v1/lots/{elsewhere.pk}/certificates", {"file": other}, format="multipart"
    )
    assert answer.status_code == 404
    no_file = client.post(f"{address}s", {"certificate": "C-1"}, format="multipart")
    assert (no_file.status_code, no_file.json()["errors"][0]["pointer"]) == (422, "#/file")


def test_an_expiry_set_by_a_retest_is_not_put_right(api, site):
    lot = make_lot(site, retested_on=date(2026, 11, 1))
    body = {"expires_on": "2027-01-01", "reason": "x"}
    answer = api("quality").post(f"/api/v1/lots/{lot.pk}/expiry-corrections", body)
    assert (answer.status_code, answer.data["code"]) == (409, "already_retested")
    assert "extended by a retest on 2026-11-01" in answer.data["detail"]


@pytest.mark.parametrize(
    "body",
    [
        {"status": "released"},
        {"expires_on": "2030-01-01"},
        {"code": "X"},
        {"site": "north"},
        {"unit_cost": "1.00"},
    ],
)
def test_a_technician_cannot_patch_what_others_decide(api, site, body):
    lot = make_lot(site, status="quarantine")
    client = api("technician")
    tag = client.get(f"/api/v1/lots/{lot.pk}")["ETag"]
    assert client.patch(f"/api/v1/lots/{lot.pk}", body, etag=tag).status_code == 422
    lot.refresh_from_db()
    assert (lot.status, lot.unit_cost) == ("quarantine", None)


def test_a_container_is_opened_once_and_moved(api, site, other_site):
    container = make_container(make_lot(site, make_material(open_life_days=10)), holds=5)
    client = api("technician")
    address = f"/api/v1/containers/{container.pk}"
    first = client.post(f"{address}/openings", {"at": "2026-11-20T08:00:00+01:00"})
    assert first.data["opened_at"] == "2026-11-20T07:00:00Z"
    assert first.data["usable_until"] == "2026-11-30T23:00:00Z"
    again = client.post(f"{address}/openings", {})
    assert again.data["opened_at"] == "2026-11-20T07:00:00Z"
    shelf = make_location(site)
    moved = client.post(f"{address}/placements", {"location": str(shelf.pk)})
    assert moved.data["location"] == str(shelf.pk)
    assert container.placements.count() == 1
    elsewhere = {"location": str(make_location(other_site).pk)}
    assert client.post(f"{address}/placements", elsewhere).status_code == 422


def test_containers_are_found_by_kind_and_stock(api, site):
    make_container(make_lot(site, make_material(kind="hardener")), holds=3, code="H")
    make_container(make_lot(site), code="EMPTY")
    found = api().get("/api/v1/containers?lot__material__kind=hardener").data["items"]
    assert [c["code"] for c in found] == ["H"]
    assert found[0]["material_kind"] == "hardener"
    empty = api().get("/api/v1/containers?holds_stock=false").data["items"]
    assert [c["code"] for c in empty] == ["EMPTY"]


def test_a_label_that_never_expires_by_the_last_day_there_is_can_be_shown(api, browser_of, site):
    lot = make_container(make_lot(site), holds=5).lot
    address = f"/api/v1/lots/{lot.pk}/expiry-corrections"
    body = {"expires_on": "9999-12-31", "reason": "the label says so", "evidence": "label"}
    assert api("quality").post(address, body).status_code == 201
    for path in ("containers", "outlook", "outlook/months", "stock", "losses"):
        assert api("planner").get(f"/api/v1/{path}").status_code == 200, path
    for path in ("/stock/", "/stock/lots/", f"/stock/lots/{lot.pk}/", "/outlook/"):
        assert browser_of("purchasing").get(path).status_code == 200, path


def test_a_container_is_not_opened_before_it_came_in(api, site):
    container = make_container(make_lot(site), holds=5)
    client = api("technician")
    came = container.movements.get().happened_at
    early = (came - timedelta(days=1)).isoformat().replace("+00:00", "Z")
    answer = client.post(f"/api/v1/containers/{container.pk}/openings", {"at": early})
    assert answer.status_code == 422
    assert "came in" in answer.data["detail"]
    container.refresh_from_db()
    assert container.opened_at is None
