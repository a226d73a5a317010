"""Reading barcodes from a photo."""

from __future__ import annotations

from typing import Any

from shared.errors import Invalid

MOST_BYTES = 15 * 1024 * 1024
MOST_PIXELS = 40_000_000


def read_codes(file: Any) -> list[str]:
    """
    Return the texts of all codes on a photo, GS1 ones marked as a scanner would.

    Raises
    ------
    Invalid
        Too large, no picture, or no code on it.
    """
    import zxingcpp
    from PIL import Image

    if file.size > MOST_BYTES:
        words = f"The photo has {file.size} bytes; at most {MOST_BYTES} are read."
        raise Invalid.one("photo", "too_large", words, value=file.size, limit=MOST_BYTES)
    try:
        with Image.open(file, formats=("JPEG", "PNG", "WEBP")) as picture:
            width, height = picture.size
            if width * height > MOST_PIXELS:
                words = f"The photo has {width} x {height} pixels; at most 40 million are read."
                raise Invalid.one("photo", "too_large", words)
            grey = picture.convert("L")
    except Image.DecompressionBombError as error:
        words = "The photo has far too many pixels; at most 40 million are read."
        raise Invalid.one("photo", "too_large", words) from error
    except (OSError, SyntaxError, ValueError) as error:
        words = "This is no photo that can be read; give a JPEG, PNG or WebP."
        raise Invalid.one("photo", "not_a_photo", words) from error
    found = [code for code in zxingcpp.read_barcodes(grey) if code.valid]
    if not found:
        words = "There is no readable code on the photo; go closer, hold still, avoid glare."
        raise Invalid.one("photo", "no_code", words)
    return [_as_scanned(code) for code in found]


def _as_scanned(code: Any) -> str:
    import zxingcpp

    text = bytes(code.bytes).decode("utf-8", errors="replace")
    if code.content_type == zxingcpp.ContentType.GS1:
        return f"]d2{text}"
    return text
