"""Telling a supplier's certificate from a file that only begins like one."""

from __future__ import annotations

import re
from typing import Any

from shared.errors import Invalid

MOST_BYTES = 15 * 1024 * 1024
MOST_PIXELS = 40_000_000
BEGINNINGS = {b"%PDF-": "pdf", b"\x89PNG\r\n\x1a\n": "png", b"\xff\xd8\xff": "jpg"}
PICTURES = {"png": "PNG", "jpg": "JPEG"}
TAIL_BYTES = 2048
ACTIVE = (b"/JavaScript", b"/Launch", b"/EmbeddedFile", b"/RichMedia")
"""Names with which a PDF runs or carries something (ISO 32000-1, 7.11.4, 12.6.4)."""


def kind_of(file: Any) -> str:
    """
    Return ``pdf``, ``png`` or ``jpg`` of an uploaded certificate, read to its end.

    A picture is decoded whole. Of a PDF the frame is checked, and that no part of it in plain
    sight runs or carries anything; parts packed inside it are not looked into, so it is handed
    out as a download and never shown by the service itself.

    Raises
    ------
    Invalid
        Too large, another kind of file, damaged, with too many pixels, or with active content.
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
        _check_pdf(file.read())
    else:
        _check_picture(file, PICTURES[kind])
    file.seek(0)
    return kind


def _refused(code: str, words: str, **figures: Any) -> Invalid:
    return Invalid.one("certificate", code, words, **figures)


def _check_pdf(data: bytes) -> None:
    tail = data[-TAIL_BYTES:]
    if b"%%EOF" not in tail or b"startxref" not in tail:
        words = "certificate begins like a PDF and does not end like one; send it whole."
        raise _refused("damaged", words)
    # A name may spell its letters as #4A.
    plain = re.sub(rb"#([0-9A-Fa-f]{2})", lambda m: bytes([int(m[1], 16)]), data)
    found = next((name.decode() for name in ACTIVE if name in plain), None)
    if found:
        words = (
            f"certificate is a PDF with active content ({found[1:]}); ask the supplier for a "
            "plain one, or print and scan it."
        )
        raise _refused("active_content", words, value=found[1:])


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
