import io
import struct
import zlib

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from PIL import Image
from pypdf import PdfReader, PdfWriter

from shared.confined import Limits, Outcome, ask
from shared.errors import Invalid
from shop.lots import certificates, pdf_child
from shop.materials.camera import read_codes
from tests.shop.lots.pdfs import packed_pdf, plain_pdf

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
    [
        (plain_pdf(), "pdf"),
        (packed_pdf(b"<< /S /URI /URI (https://resins.example) >>"), "pdf"),
        (picture("PNG"), "png"),
        (picture("JPEG"), "jpg"),
    ],
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
        (b"%PDF-1.7\n1 0 obj" + END, "damaged", "begins like a PDF and can't be read"),
        (plain_pdf(pages=0), "damaged", "no page"),
        (packed_pdf(b"<< /S /JavaScript /JS (x) >>"), "active_content", "JavaScript"),
        (packed_pdf(b"<< /S /J#61vaScript >>"), "active_content", "JavaScript"),
        (packed_pdf(b"[ << /A [ << /S /Launch >> ] >> ]"), "active_content", "Launch"),
        (packed_pdf(b"<< /JS (x) >>"), "active_content", "(JS)"),
        (packed_pdf(b"<< /EmbeddedFiles 9 0 R >>"), "active_content", "EmbeddedFiles"),
        (packed_pdf(b"[" * 5000 + b"]" * 5000), "damaged", "can't be read"),
        (packed_pdf(listed=False), "active_content", "Launch"),
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


def locked(password):
    writer = PdfWriter(clone_from=PdfReader(io.BytesIO(plain_pdf())))
    writer.encrypt(password, owner_password="owner", algorithm="RC4-128")
    out = io.BytesIO()
    writer.write(out)
    return out.getvalue()


def test_a_pdf_that_asks_for_a_password_is_refused_and_one_that_only_forbids_printing_is_not():
    with pytest.raises(Invalid, match="with a password"):
        certificates.kind_of(upload(locked("secret")))
    assert certificates.kind_of(upload(locked(""))) == "pdf"


def test_a_name_that_comes_up_by_chance_in_a_scan_is_no_reason_to_refuse():
    assert certificates.kind_of(upload(plain_pdf(extra=b"\x01/JS \x02"))) == "pdf"


def test_a_pdf_with_too_many_objects_is_refused(monkeypatch, tmp_path):
    monkeypatch.setattr(pdf_child, "MOST_OBJECTS", 3)
    path = tmp_path / "c.pdf"
    path.write_bytes(plain_pdf())
    found = pdf_child._judge({"path": str(path)})
    assert found["refused"] == "too_many_objects"
    assert int(found["value"]) > 3


def test_a_pdf_that_unpacks_to_gigabytes_is_refused_and_the_caller_lives_on():
    layers = zlib.compress(zlib.compress(bytes(900_000_000), 1), 1)
    bomb = packed_pdf(layers, filters=b"[/FlateDecode /FlateDecode]", raw=True)
    assert len(bomb) < 1_000_000
    with pytest.raises(Invalid, match="unpacks to more than 600 MB"):
        certificates.kind_of(upload(bomb))


@pytest.mark.parametrize(
    ("failure", "words"),
    [("too_slow", "takes more than 15 s"), ("unforeseen", "made its reader fall over")],
)
def test_a_reader_that_dies_is_a_reason_and_no_crash(monkeypatch, failure, words):
    monkeypatch.setattr(certificates, "ask", lambda *_: Outcome(None, failure, "traceback"))
    with pytest.raises(Invalid, match=words) as refused:
        certificates.kind_of(upload(plain_pdf()))
    assert refused.value.problems[0].code == failure


@pytest.mark.parametrize(
    ("does", "failure"),
    [
        ("spin", "too_slow"),
        ("hoard", "too_much_memory"),
        ("fall", "unforeseen"),
        ("connect", "unforeseen"),
        ("start", "unforeseen"),
        ("write", "unforeseen"),
    ],
)
def test_a_confined_process_gets_no_more_than_its_limits(settings, tmp_path, does, failure):
    wish = {"does": does, "path": str(tmp_path / "out")}
    limits = Limits(memory_bytes=1, cpu_seconds=1, wall_seconds=20)
    found = ask("tests.shop.lots.naughty_child", wish, limits, settings.ROOT)
    assert (found.answer, found.failure) == (None, failure), found.fault
    assert not (tmp_path / "out").exists() or (tmp_path / "out").stat().st_size == 0


def test_a_confined_process_is_given_no_secrets_and_not_waited_for_without_end(settings):
    limits = Limits(memory_bytes=1, cpu_seconds=1, wall_seconds=20)
    found = ask("tests.shop.lots.naughty_child", {"does": "tell"}, limits, settings.ROOT)
    assert set(found.answer["environment"]) <= {
        "PATH", "PYTHONPATH", "PYTHONDONTWRITEBYTECODE", "OPENBLAS_NUM_THREADS",
        "OMP_NUM_THREADS", "LC_CTYPE",
    }  # fmt: skip
    short = Limits(memory_bytes=1, cpu_seconds=1, wall_seconds=1)
    slept = ask("tests.shop.lots.naughty_child", {"does": "sleep"}, short, settings.ROOT)
    assert slept.failure == "too_slow"
