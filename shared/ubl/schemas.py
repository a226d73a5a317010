"""The published schemas, which say in what order the elements of a document stand."""

from __future__ import annotations

import re
from functools import cache
from typing import Any

from django.conf import settings

from shared.errors import FieldProblem, Invalid
from shared.ubl.document import Document, Kind
from shared.ubl.reading import kind_of, parse, read

MOST_TOLD = 20
_SPACE = re.compile(r"\{[^}]*\}")


@cache
def schema(kind: Kind) -> Any:
    """Return the schema of a kind of document."""
    from lxml import etree

    folder = settings.ROOT / "fixtures" / "ubl" / "xsdrt" / "maindoc"
    parser = etree.XMLParser(no_network=True)
    return etree.XMLSchema(etree.parse(str(folder / f"UBL-{kind}-2.1.xsd"), parser))


def faults(root: Any, kind: Kind) -> list[FieldProblem]:
    """Return what of a document the schema refuses, by the path of the element."""
    judge = schema(kind)
    if judge.validate(root):
        return []
    return [
        FieldProblem(
            _SPACE.sub("", error.path or "#"),
            "against_the_schema",
            f"Line {error.line}: {_SPACE.sub('', error.message)}",
        )
        for error in judge.error_log
    ][:MOST_TOLD]


def read_document(raw: bytes, *wanted: Kind) -> Document:
    """
    Return the document in some bytes that a stranger sent, judged by our reader and the schema.

    Raises
    ------
    Invalid
        With every fault found, by the path of its element.
    """
    root = parse(raw)
    kind = kind_of(root, *wanted)
    found = read(root, kind)
    if wrong := faults(root, kind):
        raise Invalid(" ".join(one.detail for one in wrong[:3]), tuple(wrong))
    return found
