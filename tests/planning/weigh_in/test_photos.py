"""Photos are re-made: upright, small, without place or name; anything else is refused."""

import io

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from PIL import Image

from planning.batches.models import Batch
from shared.access.models import User
from shared.errors import Invalid
from shared.photos import cleaning as photos
from tests.factories.shop import make_site, make_user


def picture(size=(300, 200), kind="JPEG", **more):
    data = io.BytesIO()
    Image.new("RGB", size, "orange").save(data, kind, **more)
    return SimpleUploadedFile(f"p.{kind.lower()}", data.getvalue())


def test_where_and_who_are_stripped_and_it_stands_upright():
    exif = Image.Exif()
    exif[0x0112] = 6  # turned by a quarter
    exif[0x013B] = "somebody"
    exif.get_ifd(0x8825)[1] = "N"
    kept = Image.open(photos.clean_photo(picture(exif=exif)))
    assert kept.size == (200, 300)
    assert dict(kept.getexif()) == {}


def test_a_large_photo_becomes_small():
    kept = Image.open(photos.clean_photo(picture((4000, 1000), "PNG")))
    assert (kept.format, kept.size) == ("JPEG", (2000, 500))


@pytest.mark.parametrize(
    ("file", "code"),
    [
        pytest.param(
            SimpleUploadedFile("a.jpg", b"<svg onload=x>"), "no_picture", id="no picture"
        ),
        pytest.param(SimpleUploadedFile("a.jpg", b""), "no_picture", id="nothing"),
        pytest.param(
            SimpleUploadedFile("a.jpg", picture().read()[:200]), "no_picture", id="cut short"
        ),
        pytest.param(picture((8000, 5001), "PNG"), "too_many_pixels", id="too many pixels"),
    ],
)
def test_other_files_are_refused(file, code):
    with pytest.raises(Invalid) as refused:
        photos.clean_photo(file)
    assert refused.value.problems[0].code == code


def test_a_file_too_large_is_refused_before_it_is_opened(monkeypatch):
    monkeypatch.setattr(photos, "MOST_BYTES", 100)
    with pytest.raises(Invalid, match="at most"):
        photos.clean_photo(picture())


@pytest.mark.django_db
def test_a_photo_goes_into_the_log_once_and_stays_at_its_site(planned, settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path
    planned()
    batch = Batch.objects.get()
    backend = "django.contrib.auth.backends.ModelBackend"
    client = Client()
    client.force_login(User.objects.get(username="tess"), backend=backend)
    for _ in range(2):
        sent = {"photo": picture(), "words": "bubbles", "key": "one-and-the-same"}
        assert client.post(f"/batches/{batch.pk}/photo/", sent).status_code == 302
    entry = batch.entries.get()
    assert entry.words == "bubbles"
    assert client.get(f"/batch-photos/{entry.pk}/").headers["Content-Type"] == "image/jpeg"
    other = Client()
    other.force_login(make_user(make_site(), "administrator"), backend=backend)
    assert other.get(f"/batch-photos/{entry.pk}/").status_code == 404
    assert Client().get(f"/batch-photos/{entry.pk}/").status_code == 302
    assert len(list(tmp_path.rglob("*.jpg"))) == 1
