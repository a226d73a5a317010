"""Photos of pots, steps and castings over REST: handed in once, read by the site's people."""

import io

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from PIL import Image

from planning.batches.models import Batch, Lift
from planning.clocks.actions import start_clock
from planning.cures.actions import demould
from tests.conftest import make_user
from tests.factories.clocks import ready
from tests.factories.shop import make_site


def picture(colour="orange"):
    data = io.BytesIO()
    Image.new("RGB", (60, 40), colour).save(data, "PNG")
    return SimpleUploadedFile("p.png", data.getvalue())


@pytest.fixture
def batch(planned):
    planned()
    return Batch.objects.get()


@pytest.fixture
def caller(batch, client):
    user = make_user("technician", batch.site)
    client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")

    class Caller:
        get = client.get

        def send(self, path, key="photo-0000000001", **parts):
            return client.post(f"/api/v1/{path}", parts, headers={"Idempotency-Key": key})

    return Caller()


def is_photo(answer):
    assert answer.status_code == 200
    assert answer["Content-Type"] == "image/jpeg"
    assert Image.open(io.BytesIO(answer.content)).size == (60, 40)
    return True


def test_a_pots_photo_goes_into_the_log_once(caller, batch):
    path = f"batches/{batch.pk}/photos"
    first = caller.send(path, file=picture(), words="bubbles")
    again = caller.send(path, file=picture(), words="bubbles")
    assert (first.status_code, again.status_code) == (201, 201), first.content
    assert batch.entries.count() == 1
    entry = first.json()
    assert (entry["kind"], entry["words"]) == ("remark", "bubbles")
    assert is_photo(caller.get(entry["photo"]))
    assert caller.get(f"/api/v1/{path}/999").status_code == 404


@pytest.mark.parametrize(
    ("file", "words"),
    [
        pytest.param(SimpleUploadedFile("a.jpg", b"<svg>"), "no JPEG, PNG or WebP", id="none"),
        pytest.param("text", "must be a file", id="a text"),
    ],
)
def test_what_is_no_picture_is_refused(caller, batch, file, words):
    refused = caller.send(f"batches/{batch.pk}/photos", file=file)
    assert refused.status_code == 422
    assert words in refused.json()["errors"][0]["detail"]
    assert not batch.entries.exists()


def test_a_step_has_one_photo_that_is_never_replaced(caller, batch):
    step = batch.portions.get().lift.pour.steps.first()
    path = f"steps/{step.pk}/photos"
    assert caller.get(f"/api/v1/steps/{step.pk}/photo").status_code == 404
    first = caller.send(path, file=picture())
    assert first.status_code == 201, first.content
    assert is_photo(caller.get(first.json()["photo"]))
    second = caller.send(path, key="photo-0000000002", file=picture("blue"))
    assert second.status_code == 409
    assert "is not replaced" in second.json()["detail"]


def test_a_castings_photo_and_no_other_sites_eyes(caller, batch, client):
    cure = start_clock(lift=Lift.objects.get(), poured_at=batch.planned_pour_end)
    at = ready(cure.lift.pour)
    record = demould(pour=cure.lift.pour, key="k", at=at, now=at, verdict="accept")
    first = caller.send(f"demouldings/{record.pk}/photos", file=picture())
    assert first.status_code == 201, first.content
    address = first.json()["photo"]
    assert is_photo(caller.get(address))
    stranger = make_user("technician", make_site(code="OTHER"), "stranger")
    client.force_login(stranger, backend="django.contrib.auth.backends.ModelBackend")
    assert client.get(address).status_code == 404


def test_values_of_a_signature_are_judged_by_the_steps_own_limits(caller, batch, client):
    step = batch.portions.get().lift.pour.steps.get(name__startswith="Cut, brace")
    results = [
        {"what": "Cover over the highest point", "value": "8"},
        {"what": "No leak after water or light check", "value": True},
    ]
    answer = client.post(
        f"/api/v1/steps/{step.pk}/signatures",
        {"took_min": 35, "results": results, "remark": "cover built up again"},
        content_type="application/json",
        headers={"Idempotency-Key": "sign-00000000001"},
    )
    assert answer.status_code == 201, answer.content
    found = answer.json()
    assert [(row["within"], row.get("low")) for row in found["results"]] == [
        (False, 10),
        (True, None),
    ]
    assert found["remark"] == "cover built up again"
