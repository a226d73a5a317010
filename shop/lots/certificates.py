"""Telling a supplier's certificate from a file that only begins like one."""

from __future__ import annotations

import logging
from tempfile import NamedTemporaryFile
from typing import Any

from django.conf import settings

from shared.confined import ask
from shared.errors import Invalid
from shop.lots.pdf_child import LIMITS, MOST_OBJECTS

log = logging.getLogger(__name__)
MOST_BYTES = 15 * 1024 * 1024
MOST_PIXELS = 40_000_000
BEGINNINGS = {b"%PDF-": "pdf", b"\x89PNG\r\n\x1a\n": "png", b"\xff\xd8\xff": "jpg"}
PICTURES = {"png": "PNG", "jpg": "JPEG"}
TAIL_BYTES = 2048
_SAME = "ask the supplier for a plain one, or print and scan it."
_PDF_WORDS = {
    "active_content": "certificate is a PDF with active content ({value}); " + _SAME,
    "locked": "certificate is a PDF with a password; ask the supplier for an open one.",
    "damaged": "certificate begins like a PDF and can't be read ({value}); send it whole.",
    "too_many_objects": "certificate is a PDF of {value} objects, at most {limit}; " + _SAME,
    "too_much_memory": "certificate is a PDF that unpacks to more than {memory} MB; " + _SAME,
    "too_slow": "certificate is a PDF that takes more than {seconds} s to read; " + _SAME,
    "unforeseen": "certificate is a PDF that made its reader fall over; " + _SAME,
}


def kind_of(file: Any) -> str:
    """
    Return ``pdf``, ``png`` or ``jpg`` of an uploaded certificate, read to its end.

    A picture is decoded whole. A PDF is read by a confined process, which looks at every object,
    those packed inside others too: it must have a page, and nothing in it may run, send or carry
    anything. It is still handed out as a download only, never shown by the service itself.

    Raises
    ------
    Invalid
        Too large, another kind of file, damaged, locked, with too many pixels or objects, or with
        active content.
    """
    beginning = file.read(8)
    file.seek(0)
    kind = next((k for b, k in BEGINNINGS.items() if beginning.startswith(b)), None)
    if kind is None or file.size > MOST_BYTES:
        raise _refused(
            "bad_file",
            f"certificate has {file.size} bytes and begins {beginning[:4]!r}; give a PDF, PNG or "
            f"JPEG of at most {MOST_BYTES} bytes.",
            limit=MOST_BYTES,
        )
    if kind == "pdf":
        _check_pdf(file)
    else:
        _check_picture(file, PICTURES[kind])
    file.seek(0)
    return kind


def _refused(code: str, words: str, **figures: Any) -> Invalid:
    return Invalid.one("certificate", code, words, **figures)


def _check_pdf(file: Any) -> None:
    data = file.read()
    tail = data[-TAIL_BYTES:]
    if b"%%EOF" not in tail or b"startxref" not in tail:
        words = "certificate begins like a PDF and does not end like one; send it whole."
        raise _refused("damaged", words)
    with NamedTemporaryFile(suffix=".pdf") as copy:
        copy.write(data)
        copy.flush()
        done = ask("shop.lots.pdf_child", {"path": copy.name}, LIMITS, settings.ROOT)
    if done.fault:
        log.warning("A certificate's reader fell over: %s", done.fault)
    answer = done.answer or {"refused": done.failure}
    if "refused" in answer:
        code, value = answer["refused"], answer.get("value", "")
        words = _PDF_WORDS[code].format(
            value=value,
            limit=MOST_OBJECTS,
            memory=LIMITS.memory_bytes // 1_000_000,
            seconds=LIMITS.cpu_seconds,
        )
        raise _refused(code, words, value=value or None)


def _check_picture(file: Any, form: str) -> None:
    from PIL import Image

    try:
        with Image.open(file, formats=(form,)) as picture:
            width, height = picture.size
            if width * height > MOST_PIXELS:
                raise _too_many(f"{width} x {height}")
            picture.load()
    except Image.DecompressionBombError as error:
        raise _too_many("far too many") from error
    except (OSError, SyntaxError, ValueError) as error:
        words = f"certificate begins like a {form} and can't be read to its end; send it whole."
        raise _refused("damaged", words) from error


def _too_many(count: str) -> Invalid:
    most = MOST_PIXELS // 1_000_000
    words = f"certificate has {count} pixels; at most {most} million are opened."
    return _refused("too_many_pixels", words, limit=MOST_PIXELS, unit="pixels")
