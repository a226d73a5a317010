"""Small PDFs written by hand, byte by byte, so that what is hidden in them is known."""

from __future__ import annotations

import zlib


def plain_pdf(pages: int = 1, extra: bytes = b"") -> bytes:
    """Return a PDF whose objects stand in plain sight; `extra` is the text of its page."""
    text = b"BT ET" + extra
    kids = b"3 0 R" if pages else b""
    objects = [
        b"<< /Type /Catalog /Pages 2 0 R >>",
        b"<< /Type /Pages /Kids [%b] /Count %d >>" % (kids, pages),
        b"<< /Type /Page /Parent 2 0 R /MediaBox [0 0 99 99] /Contents 4 0 R >>",
        b"<< /Length %d >>\nstream\n%b\nendstream" % (len(text), text),
    ]
    out, places = bytearray(b"%PDF-1.4\n"), []
    for number, body in enumerate(objects, 1):
        places.append(len(out))
        out += b"%d 0 obj\n%b\nendobj\n" % (number, body)
    at = len(out)
    out += b"xref\n0 5\n0000000000 65535 f \n"
    out += b"".join(b"%010d 00000 n \n" % place for place in places)
    out += b"trailer\n<< /Size 5 /Root 1 0 R >>\nstartxref\n%d\n%%%%EOF\n" % at
    return bytes(out)


def packed_pdf(
    hidden: bytes = b"<< /S /Launch >>",
    *,
    listed: bool = True,
    filters: bytes = b"/FlateDecode",
    raw: bool = False,
) -> bytes:
    """
    Return a PDF whose objects lie compressed in an object stream (ISO 32000-1, 7.5.7).

    `hidden` is its fourth object; with `listed` false no table names it. With `raw` it is the
    whole stream as it stands, behind `filters`.
    """
    bodies = [
        b"<< /Type /Catalog /Pages 2 0 R /OpenAction 4 0 R >>",
        b"<< /Type /Pages /Kids [3 0 R] /Count 1 >>",
        b"<< /Type /Page /Parent 2 0 R /MediaBox [0 0 99 99] >>",
        hidden,
    ]
    head, packed = b"", b""
    for number, body in enumerate(bodies, 1):
        head += b"%d %d " % (number, len(packed))
        packed += body + b" "
    stream = hidden if raw else zlib.compress(head + packed)
    out = bytearray(b"%PDF-1.5\n")
    holder = len(out)
    out += b"5 0 obj\n<< /Type /ObjStm /N 4 /First %d /Filter %b /Length %d >>\nstream\n" % (
        len(head), filters, len(stream),
    )  # fmt: skip
    out += stream + b"\nendstream\nendobj\n"
    at = len(out)
    rows = [bytes(5), *(bytes([2, 0, 0, 5, n]) for n in range(4))]
    if not listed:
        rows[4] = bytes(5)
    rows += [bytes([1]) + place.to_bytes(3, "big") + b"\0" for place in (holder, at)]
    table = zlib.compress(b"".join(rows))
    out += b"6 0 obj\n<< /Type /XRef /Size 7 /W [1 3 1] /Root 1 0 R /Filter /FlateDecode "
    out += b"/Length %d >>\nstream\n%b\nendstream\nendobj\n" % (len(table), table)
    return bytes(out + b"startxref\n%d\n%%%%EOF\n" % at)
