import io
import struct
import zlib

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from PIL import Image

from shared.errors import Invalid
from shop.lots import certificates
from shop.materials.camera import read_codes

END = b"\nstartxref\n9\n%%EOF\n"


def upload(data):
    return SimpleUploadedFile("c", data)


def picture(form, size=(40, 30)):
    out = io.BytesIO()
    Image.new("RGB", size, "white").save(out, form)
    return out.getvalue()


def bomb(width, height):
    """Return a small PNG that says it has as many pixels as asked."""

    def chunk(name, body):
        return (
            struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))
        )

    head = struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    parts = chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(b"")) + chunk(b"IEND", b"")
    return b"\x89PNG\r\n\x1a\n" + parts


@pytest.mark.parametrize(
    ("data", "kind"),
    [(b"%PDF-1.7\n1 0 obj" + END, "pdf"), (picture("PNG"), "png"), (picture("JPEG"), "jpg")],
)
def test_whole_files_are_known_and_can_be_read_again(data, kind):
    file = upload(data)
    assert certificates.kind_of(file) == kind
    assert file.read() == data


@pytest.mark.parametrize(
    ("data", "code", "words"),
    [
        (b"", "bad_file", "has 0 bytes"),
        (b"GIF89a", "bad_file", "give a PDF, PNG or JPEG"),
        (b"%PDF-1.7 cut off", "damaged", "does not end like one"),
        (b"%PDF-1.7 /OpenAction << /S /JavaScript >>" + END, "active_content", "JavaScript"),
        (b"%PDF-1.7 /S /J#61vaScript" + END, "active_content", "JavaScript"),
        (b"%PDF-1.7 /S /Launch /F (a.exe)" + END, "active_content", "Launch"),
        (picture("PNG")[:60], "damaged", "begins like a PNG"),
        (picture("JPEG", (400, 300))[:-900], "damaged", "begins like a JPEG"),
        (b"\xff\xd8\xff<script>", "damaged", "begins like a JPEG"),
        (bomb(8000, 8000), "too_many_pixels", "8000 x 8000 pixels"),
        (bomb(60_000, 60_000), "too_many_pixels", "at most 40 million"),
    ],
)
def test_hostile_and_damaged_files_are_refused_in_words(data, code, words):
    with pytest.raises(Invalid, match=words) as refused:
        certificates.kind_of(upload(data))
    assert refused.value.problems[0].code == code


def test_a_file_too_large_is_refused_before_it_is_read(monkeypatch):
    monkeypatch.setattr(certificates, "MOST_BYTES", 10)
    with pytest.raises(Invalid, match="at most 10 bytes"):
        certificates.kind_of(upload(picture("PNG")))


def test_a_photo_that_claims_billions_of_pixels_is_refused():
    with pytest.raises(Invalid, match="far too many pixels"):
        read_codes(upload(bomb(60_000, 60_000)))
