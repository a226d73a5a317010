"""
The process that looks into a supplier's PDF, confined by `shared.confined`.

Started as ``python -m shop.lots.pdf_child`` by `shop.lots.certificates`. It opens what is packed
inside the file, where a name such as /JavaScript does not stand in plain sight, and looks at
every object. It knows no Django, no database and no secrets.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from shared.confined import Limits, serve

LIMITS = Limits(memory_bytes=600_000_000, cpu_seconds=15, wall_seconds=60)
MOST_OBJECTS = 200_000
DEEPEST = 100
SHORT = 5
ACTIVE = (
    "/JavaScript", "/JS", "/Launch", "/EmbeddedFile", "/EmbeddedFiles", "/RichMedia",
    "/SubmitForm", "/ImportData", "/XFA",
)  # fmt: skip
"""Names with which a PDF runs, sends or carries something (ISO 32000-1, 7.11.4, 12.6.4, 12.7)."""
_NAME = re.compile(rb"/[^\x00\t\n\x0c\r ()<>\[\]{}/%]+")
"""A name ends at white space or a delimiter (ISO 32000-1, 7.2.2)."""


class _Refused(Exception):
    def __init__(self, code: str, value: str = "") -> None:
        super().__init__(code)
        self.code, self.value = code, value


def plain_names(data: bytes) -> Iterator[str]:
    """Yield the names that stand in plain sight; one may spell its letters as #4A (7.3.5)."""
    for found in _NAME.finditer(data):
        word = re.sub(rb"#([0-9A-Fa-f]{2})", lambda m: bytes([int(m[1], 16)]), found[0])
        yield word.decode("latin-1")


def _judge(wish: dict[str, Any]) -> dict[str, Any]:
    try:
        return {"pages": _pages(Path(wish["path"]))}
    except _Refused as refused:
        return {"refused": refused.code, "value": refused.value}
    except MemoryError:
        return {"refused": "too_much_memory", "value": ""}
    except RecursionError:
        return {"refused": "damaged", "value": "objects in one another without end"}


def _pages(path: Path) -> int:
    """Return how many pages a PDF has, once every object in it has been looked at."""
    from pypdf import PdfReader
    from pypdf.errors import LimitReachedError, PyPdfError
    from pypdf.generic import IndirectObject

    for name in plain_names(path.read_bytes()):
        # A short name comes up by chance in the bytes of a scan.
        if len(name) > SHORT:
            _refuse_active(name)
    try:
        reader = PdfReader(path, strict=False)
        if reader.is_encrypted and not reader.decrypt(""):
            raise _Refused("locked")
        numbers = {
            *((number, gen) for gen, table in reader.xref.items() for number in table),
            *((number, 0) for number in reader.xref_objStm),
        }
        if len(numbers) > MOST_OBJECTS:
            raise _Refused("too_many_objects", str(len(numbers)))
        for number, gen in sorted(numbers):
            _look(reader.get_object(IndirectObject(number, gen, reader)))
        pages = len(reader.pages)
    except LimitReachedError as error:
        raise _Refused("too_much_memory") from error
    except (_Refused, MemoryError, RecursionError):
        raise
    except (PyPdfError, ValueError, KeyError, TypeError, AttributeError, OSError, IndexError) as e:
        raise _Refused("damaged", type(e).__name__) from e
    if pages == 0:
        raise _Refused("damaged", "no page")
    return pages


def _look(found: Any, depth: int = 0) -> None:
    """Refuse an object that names something active, in itself or in what is packed inside it."""
    from pypdf.generic import ArrayObject, DictionaryObject, NameObject, StreamObject

    if depth > DEEPEST:
        raise RecursionError
    if isinstance(found, NameObject):
        _refuse_active(str(found))
    elif isinstance(found, ArrayObject):
        for part in list.__iter__(found):
            _look(part, depth + 1)
    elif isinstance(found, DictionaryObject):
        for name, part in dict.items(found):
            _refuse_active(str(name))
            _look(part, depth + 1)
        if isinstance(found, StreamObject) and dict.get(found, "/Type") == "/ObjStm":
            # A repairing viewer may find objects there that no table of contents lists.
            for name in plain_names(found.get_data()):
                _refuse_active(name)


def _refuse_active(name: str) -> None:
    if name in ACTIVE:
        raise _Refused("active_content", name[1:])


if __name__ == "__main__":
    serve(_judge, LIMITS)
