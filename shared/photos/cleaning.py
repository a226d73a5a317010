"""Photos of pots and castings: read, turned upright, made small and stripped of where and who."""

from __future__ import annotations

from typing import Any

from django.core.files.base import ContentFile

from shared.errors import Invalid

MOST_BYTES = 15_000_000
MOST_PIXELS = 40_000_000
LONGEST_SIDE = 2000
QUALITY = 82


def _refuse(code: str, detail: str, **more: Any) -> Invalid:
    return Invalid.one("photo", code, detail, **more)


def clean_photo(file: Any) -> ContentFile:
    """
    Return the picture of an uploaded file as a fresh JPEG.

    Raises
    ------
    Invalid
        When the file is too large, is no picture, or has too many pixels to be opened safely.
    """
    from PIL import Image, ImageOps, UnidentifiedImageError

    if file.size > MOST_BYTES:
        raise _refuse(
            "too_large",
            f"photo has {file.size / 1e6:.1f} MB; at most {MOST_BYTES / 1e6:.0f} MB are taken. "
            "Take it with fewer pixels.",
            value=str(file.size),
            limit=str(MOST_BYTES),
            unit="bytes",
        )
    try:
        with Image.open(file, formats=["JPEG", "PNG", "WEBP"]) as picture:
            width, height = picture.size
            if width * height > MOST_PIXELS:
                raise _refuse(
                    "too_many_pixels",
                    f"photo has {width} x {height} pixels; at most {MOST_PIXELS // 10**6} million "
                    "are opened.",
                    value=str(width * height),
                    limit=str(MOST_PIXELS),
                    unit="pixels",
                )
            upright = ImageOps.exif_transpose(picture).convert("RGB")
    except Image.DecompressionBombError as error:
        raise _refuse(
            "too_many_pixels",
            f"photo has far too many pixels; at most {MOST_PIXELS // 10**6} million are opened.",
            limit=str(MOST_PIXELS),
            unit="pixels",
        ) from error
    except (UnidentifiedImageError, OSError, ValueError, SyntaxError) as error:
        raise _refuse(
            "no_picture", "photo is no JPEG, PNG or WebP picture that can be opened."
        ) from error
    upright.thumbnail((LONGEST_SIDE, LONGEST_SIDE))
    kept = ContentFile(b"", name="photo.jpg")
    upright.save(kept, "JPEG", quality=QUALITY)
    kept.seek(0)
    return kept
