"""UBL documents at the border: read as the body of a call, answered as XML."""

from __future__ import annotations

from typing import Any, ClassVar

from django.http import HttpResponse
from rest_framework.parsers import BaseParser

from shared.api.uploads import AnyFile
from shared.ubl.document import Document, Kind
from shared.ubl.reading import MOST_BYTES
from shared.ubl.schemas import read_document
from shared.ubl.writing import write

JSON, XML = "application/json", "application/xml"


class Ubl(BaseParser):
    """`application/xml`: a UBL 2.1 document of the kinds that the address takes."""

    media_type = XML
    kinds: ClassVar[tuple[Kind, ...]] = ()

    def parse(self, stream: Any, media_type: Any = None, parser_context: Any = None) -> Any:
        """Read at most the allowed bytes and return the document."""
        return read_document(stream.read(MOST_BYTES + 1), *self.kinds)


def taking(*kinds: Kind) -> type[Ubl]:
    """Return the parser of some kinds of documents."""
    return type("Ubl", (Ubl,), {"kinds": kinds, "__doc__": Ubl.__doc__})


class Xml(AnyFile):
    """`application/xml`, and problems as JSON where there is no document."""

    media_type = XML
    format = "xml"


def answered(document: Document) -> HttpResponse:
    """Answer a document."""
    answer = HttpResponse(write(document), content_type=f"{XML}; charset=utf-8")
    answer["Content-Disposition"] = f'inline; filename="{document.id}.xml"'
    return answer
