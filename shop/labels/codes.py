"""What is printed as codes on a label, and their pictures."""

from __future__ import annotations

import re
from typing import Any

from shop.core.gs1 import sound_gtin
from shop.lots.models import Container
from shop.materials.models import Pack

_PLAIN = re.compile(r"[A-Za-z0-9!\"%&'*+,./:;<=>?_-]{1,20}", re.ASCII)
"""Characters of GS1's set that need no escape in the bracketed form."""


def gs1_text(container: Container) -> str | None:
    """
    Return the GS1 data of a container in bracketed form, or None where it has no item number.

    Day 00 is never printed: an expiry always names its day.
    """
    lot = container.lot
    pack = _pack(container)
    if pack is None or not _PLAIN.fullmatch(lot.code):
        return None
    text = f"(01){pack.gtin.zfill(14)}"
    if lot.expires_on:
        text += f"(17){lot.expires_on:%y%m%d}"
    return f"{text}(10){lot.code}"


def _pack(container: Container) -> Pack | None:
    """Return a pack of the lot's supplier and material with a sound item number."""
    for pack in container.lot.material.packs.all():
        if pack.supplier_id == container.lot.supplier_id and sound_gtin(pack.gtin):
            return pack
    return None


def qr_picture(text: str) -> Any:
    """Return a QR code as a picture of one pixel a module."""
    import zxingcpp

    code = zxingcpp.create_barcode(text, zxingcpp.BarcodeFormat.QRCode, ec_level="M")
    return _picture(code)


def data_matrix_picture(bracketed: str) -> Any:
    """Return a GS1 DataMatrix as a picture of one pixel a module."""
    import zxingcpp

    code = zxingcpp.create_barcode(bracketed, zxingcpp.BarcodeFormat.DataMatrix, gs1=True)
    return _picture(code)


def _picture(code: Any) -> Any:
    import numpy as np
    from PIL import Image

    return Image.fromarray(np.array(code.to_image(scale=4, add_quiet_zones=True)))
