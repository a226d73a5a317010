"""
The triangles of a 3MF file (the core part of the 3D Manufacturing Format, an open specification).

Read as a stream and not by a general loader, because a few kilobytes can announce gigabytes: the
zip may unpack a thousandfold, and an object made of objects made of objects doubles at each step.
Element and attribute names are those of the core specification, from memory.
"""

from __future__ import annotations

import io
import struct
import zipfile
import zlib
from array import array
from collections.abc import Iterator
from dataclasses import dataclass, field
from xml.parsers import expat

import numpy as np

from planning.core.pattern.mesh import UNITS_MM, Floats, Ints, PatternRefused

_FILE_UNITS_MM = {
    "micron": 0.001,
    "millimeter": 1.0,
    "centimeter": 10.0,
    "inch": 25.4,
    "foot": 304.8,
    "meter": 1000.0,
}
_DEEPEST = 16
_MOST_MEMBERS = 1000
_CHUNK = 1 << 20
# what the standard library's zip reader was seen to raise on damaged files
_DAMAGE = (
    zipfile.BadZipFile,
    zlib.error,
    struct.error,
    EOFError,
    OSError,
    ValueError,
    IndexError,
    KeyError,
    RuntimeError,
)
_STAY = np.eye(4)[:, :3]


@dataclass
class _Object:
    points: array[float] = field(default_factory=lambda: array("d"))
    facets: array[int] = field(default_factory=lambda: array("q"))
    parts: list[tuple[str, Floats]] = field(default_factory=list)


def triangles_of_3mf(
    data: bytes, unit: str, most_facets: int, most_bytes: int, most_ratio: int
) -> tuple[Floats, Ints]:
    """
    Return points (n, 3) in `unit` and facets (m, 3) of all items the file builds.

    Raises `PatternRefused` for a damaged archive, one that unpacks beyond `most_bytes` or
    `most_ratio` times its size, another unit than the file states, or a model without facets.
    """
    model = _Model(most_facets)
    try:
        for chunk in _model_chunks(data, min(most_bytes, most_ratio * len(data))):
            model.feed(chunk)
        model.feed(b"", last=True)
    except PatternRefused:
        raise
    except expat.ExpatError as wrong:
        raise PatternRefused(
            "not_a_mesh", f"The 3MF model is no well-formed XML ({str(wrong)[:60]})."
        ) from wrong
    except _DAMAGE as wrong:
        raise PatternRefused(
            "not_a_mesh", f"The 3MF archive is damaged ({str(wrong)[:60]}). Export it again."
        ) from wrong
    model.check_unit(unit)
    return model.build()


def _model_chunks(data: bytes, most_bytes: int) -> Iterator[bytes]:
    archive = zipfile.ZipFile(io.BytesIO(data))
    members = archive.infolist()
    if len(members) > _MOST_MEMBERS:
        raise PatternRefused(
            "zip_bomb", f"The 3MF archive has {len(members)} members; at most {_MOST_MEMBERS}."
        )
    models = [m for m in members if m.filename.lower().lstrip("/").endswith("3d/3dmodel.model")]
    if not models:
        raise PatternRefused("not_a_mesh", "The 3MF archive has no 3D/3dmodel.model part.")
    if models[0].flag_bits & 1:
        raise PatternRefused("not_a_mesh", "The 3MF archive is encrypted. Save it without.")
    total = 0
    with archive.open(models[0]) as stream:
        # what comes out is counted: the size in the archive's own table may be a lie
        while chunk := stream.read(_CHUNK):
            total += len(chunk)
            if total > most_bytes:
                raise PatternRefused(
                    "zip_bomb",
                    f"The 3MF archive of {len(data):,} bytes unpacks to more than "
                    f"{most_bytes:,} bytes; no mesh packs that tightly.",
                )
            yield chunk


def _number(attributes: dict[str, str], name: str) -> float:
    try:
        return float(attributes[name])
    except (KeyError, ValueError) as wrong:
        raise PatternRefused(
            "not_a_mesh",
            f"The 3MF file gives {attributes.get(name, 'nothing')[:20]!r} as {name}; it must be a "
            "number.",
        ) from wrong


def _corner(attributes: dict[str, str], name: str) -> int:
    value = _number(attributes, name)
    if not 0 <= value < 2**31 or value != int(value):
        raise PatternRefused(
            "not_a_mesh", f"A facet in the 3MF file names corner {attributes[name][:20]!r}."
        )
    return int(value)


def _transform(attributes: dict[str, str]) -> Floats:
    values = attributes.get("transform", "").split()
    if not values:
        return _STAY
    if len(values) != 12:
        raise PatternRefused(
            "not_a_mesh", f"A transform in the 3MF file has {len(values)} numbers; it needs 12."
        )
    numbered = {str(place): value for place, value in enumerate(values)}
    return np.array([_number(numbered, place) for place in numbered]).reshape(4, 3)


class _Model:
    """The model part, gathered element by element."""

    def __init__(self, most_facets: int) -> None:
        self.most_facets = most_facets
        self.facets_read = 0
        self.unit = ""
        self.objects: dict[str, _Object] = {}
        self.items: list[tuple[str, Floats]] = []
        self._open = _Object()
        self._parser = expat.ParserCreate(namespace_separator=" ")
        self._parser.StartElementHandler = self._start
        self._parser.StartDoctypeDeclHandler = self._refuse_doctype

    def feed(self, chunk: bytes, last: bool = False) -> None:
        self._parser.Parse(chunk, last)

    def _refuse_doctype(self, *_: object) -> None:
        # entities are declared there, and the format has no use for them
        raise PatternRefused("not_a_mesh", "The 3MF model declares a document type.")

    def _start(self, name: str, attributes: dict[str, str]) -> None:
        local = name.rsplit(" ", 1)[-1]
        if local == "vertex":
            self._open.points.extend(_number(attributes, axis) for axis in "xyz")
            if len(self._open.points) > 9 * self.most_facets:
                raise PatternRefused(
                    "too_many_facets",
                    f"The 3MF file holds more corners than {self.most_facets:,} facets have.",
                )
        elif local == "triangle":
            self._open.facets.extend(_corner(attributes, name) for name in ("v1", "v2", "v3"))
            self.facets_read += 1
            self._check_count(self.facets_read)
        elif local == "object":
            self._open = self.objects.setdefault(attributes.get("id", ""), _Object())
        elif local == "component":
            self._open.parts.append((attributes.get("objectid", ""), _transform(attributes)))
        elif local == "item":
            self.items.append((attributes.get("objectid", ""), _transform(attributes)))
        elif local == "model":
            self.unit = attributes.get("unit", "millimeter")

    def _check_count(self, facets: int) -> None:
        if facets > self.most_facets:
            raise PatternRefused(
                "too_many_facets",
                f"The 3MF file builds {facets:,} facets or more; at most {self.most_facets:,}. "
                "Export it with coarser facets.",
            )

    def check_unit(self, unit: str) -> None:
        """Refuse a unit the file contradicts: this format, unlike the others, states its own."""
        if self.unit not in _FILE_UNITS_MM:
            raise PatternRefused(
                "unit",
                f"The 3MF file states the unit {self.unit[:20]!r}, which the format lacks.",
            )
        if _FILE_UNITS_MM[self.unit] != UNITS_MM[unit]:
            raise PatternRefused(
                "unit",
                f"unit is {unit}, but the 3MF file states {self.unit} itself. Choose the file's "
                "unit, or export it again in the one meant.",
            )

    def build(self) -> tuple[Floats, Ints]:
        """Return the facets of all items, objects inside objects placed."""
        counts: dict[str, int] = {}
        self._check_count(sum(self._count(key, counts, 0) for key, _ in self.items))
        pieces: list[tuple[Floats, Ints]] = []
        for key, matrix in self.items:
            self._place(key, matrix, pieces)
        if not pieces:
            raise PatternRefused(
                "empty", "The 3MF file builds no facets. Export the pattern again."
            )
        offsets = np.cumsum([0] + [len(points) for points, _ in pieces[:-1]])
        facets = [rows + offset for (_, rows), offset in zip(pieces, offsets, strict=True)]
        return np.concatenate([points for points, _ in pieces]), np.concatenate(facets)

    def _count(self, key: str, counts: dict[str, int], depth: int) -> int:
        """Facets an object stands for; each object is counted once, so doubling stays cheap."""
        if key not in self.objects:
            raise PatternRefused(
                "not_a_mesh", f"The 3MF file builds object {key[:20]!r}, which it lacks."
            )
        if depth > _DEEPEST:
            raise PatternRefused(
                "not_a_mesh",
                f"The 3MF file nests objects more than {_DEEPEST} deep, or in a circle.",
            )
        if key not in counts:
            whole = self.objects[key]
            # an object without facets still costs a step each time it is placed
            counts[key] = len(whole.facets) // 3 + sum(
                max(1, self._count(part, counts, depth + 1)) for part, _ in whole.parts
            )
        return counts[key]

    def _place(self, key: str, matrix: Floats, pieces: list[tuple[Floats, Ints]]) -> None:
        whole = self.objects[key]
        if whole.facets:
            points = np.array(whole.points).reshape(-1, 3)
            facets = np.array(whole.facets, dtype=np.int64).reshape(-1, 3)
            if facets.max() >= len(points):
                raise PatternRefused(
                    "not_a_mesh",
                    f"A facet in the 3MF file names corner {facets.max()}; the last one is "
                    f"{len(points) - 1}.",
                )
            mirrored = np.linalg.det(matrix[:3]) < 0
            pieces.append(
                (points @ matrix[:3] + matrix[3], facets[:, ::-1] if mirrored else facets)
            )
        for part, own in whole.parts:
            square = np.column_stack([own, [0.0, 0.0, 0.0, 1.0]])
            self._place(part, square @ matrix, pieces)
