"""The file through its page, its commands and its calls."""

import io
import json

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.management import CommandError, call_command
from django.test import Client

from shop.sites.models import Mixer
from tests.callers import caller, make_user
from tests.planning.files.conftest import book_of

pytestmark = pytest.mark.django_db
MIXERS = ["code", "name", "largest_kg"]
GOOD = {"Mixers": [MIXERS, ["M1", "One", 10]]}
BAD = {"Mixers": [MIXERS, ["M1", "One", 0], ["M2", "Two", "=1"]]}


def upload(book):
    return SimpleUploadedFile("shop.xlsx", book_of(**book))


@pytest.fixture
def page(own):
    client = Client()
    client.force_login(own[0].user)
    return client


def test_the_page_tries_a_file_out_and_reads_it_in(page):
    tried = page.post("/files/", {"file": upload(GOOD), "trial": "1"})
    assert "Nothing was changed" in tried.content.decode()
    assert not Mixer.objects.exists()
    assert page.post("/files/", {"file": upload(GOOD)}).status_code == 302
    assert Mixer.objects.get().code == "M1"


def test_the_page_names_every_fault_in_a_row_of_its_own(page):
    answer = page.post("/files/", {"file": upload(BAD)})
    assert answer.status_code == 422
    shown = answer.content.decode()
    assert "2 faults found; nothing was changed." in shown
    assert shown.count('<th scope="row">Mixers</th>') == 2
    assert '<td class="num">3</td><td>largest_kg</td>' in shown
    assert not Mixer.objects.exists()
    assert "Choose a file" in page.post("/files/", {}).content.decode()


@pytest.mark.parametrize("form", ["xlsx", "csv"])
@pytest.mark.parametrize("what", ["shop", "sample"])
def test_the_page_hands_out_what_it_reads(page, what, form):
    answer = page.get(f"/files/{what}.{form}")
    assert answer.status_code == 200
    ending = answer["Content-Disposition"].rpartition(".")[2].strip('"')
    name = f"{what}.{ending}"
    file = SimpleUploadedFile(name, answer.content)
    assert page.post("/files/", {"file": file, "trial": "1"}).status_code == 200
    assert page.get(f"/files/{what}.pdf").status_code == 404


def test_who_may_not_set_the_shop_up_sees_no_page(own):
    client = Client()
    client.force_login(make_user("technician", own[1]))
    assert client.get("/files/").status_code == 403
    assert client.get("/files/shop.xlsx").status_code == 403


def test_the_calls(own):
    client = caller(own[0].user, [own[1]])
    path = "/api/v1/shop-files/readings"
    tried = client.post(path, {"file": upload(GOOD), "trial": "true"}, format="multipart")
    assert tried.status_code == 201, tried.content
    assert json.loads(tried.content) == {
        "trial": True, "sheets": [{"sheet": "Mixers", "new": 1, "changed": 0, "same": 0}],
    }  # fmt: skip
    assert not Mixer.objects.exists()
    refused = client.post(path, {"file": upload(BAD)}, format="multipart")
    assert refused.status_code == 422
    pointers = [one["pointer"] for one in json.loads(refused.content)["errors"]]
    assert pointers == ["#/Mixers/2/largest_kg", "#/Mixers/3/largest_kg"]
    assert client.post(path, {"file": upload(GOOD)}, format="multipart").status_code == 201
    assert Mixer.objects.count() == 1
    written = client.get("/api/v1/shop-files?form=xlsx")
    assert written.status_code == 200
    assert written.content.startswith(b"PK")
    assert client.get("/api/v1/shop-files?form=pdf").status_code == 400
    assert client.get("/api/v1/shop-files?sample=maybe").status_code == 400
    sheets = client.get("/api/v1/shop-files/sheets").json()["sheets"]
    assert [one["name"] for one in sheets][:3] == ["Shop", "Closed days", "People"]


def test_the_commands(own, tmp_path):
    out = io.StringIO()
    file = tmp_path / "sample.xlsx"
    call_command("write_workbook", file, sample=True, stdout=out)
    call_command("read_workbook", file, trial=True, stdout=out)
    assert "Tried out; nothing was changed." in out.getvalue()
    assert not Mixer.objects.exists()
    call_command("read_workbook", file, stdout=out)
    assert "Mixers: 1 new, 0 changed, 0 left as they are" in out.getvalue()
    call_command("write_workbook", tmp_path / "shop.zip", stdout=out)
    call_command("read_workbook", tmp_path / "shop.zip", json=True, stdout=io.StringIO())
    (tmp_path / "bad.xlsx").write_bytes(book_of(**BAD))
    with pytest.raises(CommandError, match=r"Mixers, row 2, largest_kg: "):
        call_command("read_workbook", tmp_path / "bad.xlsx")
    with pytest.raises(CommandError, match=r"must end in \.xlsx"):
        call_command("write_workbook", tmp_path / "shop.ods")


def test_a_tool_in_use_enters_with_its_shots(own):
    client = caller(own[0].user, [own[1]])
    body = {"code": "T1", "name": "T", "kind": "matched", "in_service_since": "2026-06-01",
            "shots_so_far": 400}  # fmt: skip
    made = client.post("/api/v1/tools", body)
    assert made.status_code == 201, made.content
    shown = made.json()
    assert shown["status"] == "in_service"
    assert {half["half"]: half["verdict"] for half in shown["halves"]} == {
        "A": "accept", "B": "accept",
    }  # fmt: skip
    [event] = client.get(f"/api/v1/tool-events?tool={shown['id']}").json()["items"]
    assert (event["kind"], event["shots"]) == ("shots", 400)
    for wrong, field in (
        ({"in_service_since": "2027-01-01"}, "in_service_since"),
        ({"in_service_since": None}, "in_service_since"),
        ({"shots_so_far": -1}, "shots_so_far"),
    ):
        refused = client.post("/api/v1/tools", body | {"code": "T2"} | wrong)
        assert refused.status_code == 422
        assert refused.json()["errors"][0]["pointer"] == f"#/{field}"
    tag = client.get(f"/api/v1/tools/{shown['id']}").json()["etag"]
    changed = client.patch(f"/api/v1/tools/{shown['id']}", {"shots_so_far": 9}, etag=tag)
    assert changed.status_code == 422
