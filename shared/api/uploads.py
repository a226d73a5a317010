"""Multipart bodies read strictly: one file, each field once, and no more bytes than allowed."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator
from typing import Any, ClassVar

from django.http import QueryDict
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.exceptions import ParseError
from rest_framework.parsers import MultiPartParser
from rest_framework.renderers import BaseRenderer

from shared.api import fields
from shared.errors import file_too_large

ROOM_FOR_FIELDS = 20_000
"""Bytes a form may have besides its file."""
_YES_NO = {"true": True, "false": False}


class Upload:
    """
    A file that came with a form.

    Its text is a digest of its bytes, so that a repeated request is known by what is in the file
    and not by what it is called.
    """

    def __init__(self, file: Any) -> None:
        self.name: str = file.name or ""
        self._file = file

    def chunks(self) -> Iterator[bytes]:
        """Yield the bytes from the start."""
        yield from self._file.chunks()

    def head(self, most: int) -> bytes:
        """Return the bytes, and of a file with more than `most` a few more than those."""
        data = bytearray()
        for chunk in self.chunks():
            data += chunk
            if len(data) > most:
                break
        return bytes(data)

    def __str__(self) -> str:
        digest = hashlib.sha256()
        for chunk in self.chunks():
            digest.update(chunk)
        return f"{self.name}:{digest.hexdigest()}"


def check_length(request: Any, most: int, advice: str = ".") -> None:
    """Refuse a body that is too long before any of it is read."""
    try:
        length = int(request.META.get("CONTENT_LENGTH") or 0)
    except ValueError:
        length = 0  # what Django makes of it too: nothing is read
    if length > most + ROOM_FOR_FIELDS:
        raise file_too_large(length, most, advice)


class OneFile(MultiPartParser):
    """`multipart/form-data` with one file called `file`; `true` and `false` are booleans."""

    largest_bytes: ClassVar[int] = 15 * 1024 * 1024
    advice: ClassVar[str] = "."

    def parse(self, stream: Any, media_type: Any = None, parser_context: Any = None) -> Any:
        """Return a plain dict of texts, booleans and the file."""
        check_length((parser_context or {})["request"], self.largest_bytes, self.advice)
        parsed = super().parse(stream, media_type, parser_context)
        body: dict[str, Any] = {}
        for part in (parsed.data, parsed.files):
            _add(body, part)  # type: ignore[arg-type]
        return body


def _add(body: dict[str, Any], part: QueryDict) -> None:
    for name, values in part.lists():
        if len(values) > 1 or name in body:
            raise ParseError(f"The field {name[:80]!r} stands twice in the form.")
        value = values[0]
        if isinstance(value, str):
            if "\0" in value:
                raise ParseError(f"The field {name[:80]!r} holds a NUL character.")
            body[name] = _YES_NO.get(value, value)
        else:
            body[name] = Upload(value)


class AnyFile(BaseRenderer):
    """A kept file, told as plain bytes; problems as JSON where there is none."""

    media_type = "application/octet-stream"
    format = "file"
    charset = None
    render_style = "binary"

    def render(self, data: Any, *args: Any, **kwargs: Any) -> bytes:
        """Return the bytes as they are; anything else is a problem."""
        return data if isinstance(data, bytes) else json.dumps(data).encode()


@extend_schema_field({"type": "string", "format": "binary"})
class UploadField(serializers.Field):
    """The file itself, a part of a multipart body."""

    def to_internal_value(self, data: Any) -> Upload:
        """Return the file; a text in its place is refused."""
        if not isinstance(data, Upload):
            raise fields.refuse("must be a file, with a file name.", "not_a_file")
        return data

    def to_representation(self, value: Any) -> None:
        """Answer nothing: a file is never sent back."""
