"""
Reading the file a pattern comes in: STL (binary and text), PLY, OBJ and 3MF.

Files come from strangers, so every count is checked against the bytes that are there before
anything of its size is set aside, and whatever is wrong is answered with one sentence. STL layout
from its common description (80 bytes, a 32-bit count, 50 bytes a facet; from memory).
"""

from __future__ import annotations

import gc
import io
import re
from dataclasses import dataclass

import numpy as np

from planning.core.pattern.mesh import (
    Floats,
    Ints,
    Mesh,
    PatternRefused,
    check_scale,
    check_unit,
    weld,
)
from planning.core.pattern.three_mf import triangles_of_3mf

FORMATS = ("stl", "ply", "obj", "3mf")
AGAIN = "Export the pattern again."
_STL_HEAD, _STL_FACET = 84, 50
_STL_ROW = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("spare", "<u2")])
_VERTEX = re.compile(rb"\bvertex\s+(\S+)\s+(\S+)\s+(\S+)", re.IGNORECASE)


@dataclass(frozen=True)
class Limits:
    """How large a file may be. One million facets of binary STL are 50 000 084 bytes."""

    bytes: int = 50_000_084
    facets: int = 1_000_000
    unpacked_bytes: int = 300_000_000
    packing_ratio: int = 100


def read_pattern(data: bytes, name: str, unit: str, limits: Limits | None = None) -> Mesh:
    """
    Return the mesh in a file, in millimetres, as it lies in the file's own axes.

    Parameters
    ----------
    data : bytes
        The whole file.
    name : str
        File name; only its ending is used, to tell the format.
    unit : str
        Unit the pattern was drawn in: `mm`, `cm`, `m` or `inch`.
    limits : Limits, optional
        Largest file taken.

    Raises
    ------
    PatternRefused
        With one sentence, for anything that is not a mesh of a size a shop could cast.
    """
    limits = limits or Limits()
    factor = check_unit(unit)
    kind = _format_of(data, name, limits)
    if kind == "stl":
        points, facets = _stl(data, limits), None
    elif kind == "3mf":
        points, facets = triangles_of_3mf(
            data, unit, limits.facets, limits.unpacked_bytes, limits.packing_ratio
        )
    else:
        points, facets = _by_library(data, kind, limits)
    if facets is not None:
        _check_facets(facets, len(points), limits)
        points = points[: int(facets.max()) + 1] if len(facets) else points[:0]
    scaled = points * factor
    used = scaled if facets is None else scaled[np.unique(facets)]
    check_scale(used, unit)
    return weld(scaled, facets)


def _format_of(data: bytes, name: str, limits: Limits) -> str:
    kind = name.rsplit(".", 1)[-1].lower() if "." in name else ""
    if kind not in FORMATS:
        raise PatternRefused(
            "format",
            f"The file name ends in {kind[:10]!r}; a pattern may be {', '.join(FORMATS)}.",
        )
    if not data:
        raise PatternRefused("empty", f"The file is empty, 0 bytes. {AGAIN}")
    if len(data) > limits.bytes:
        raise PatternRefused(
            "too_large",
            f"The file has {len(data):,} bytes; at most {limits.bytes:,}. Export it with "
            "coarser facets.",
        )
    zipped = data[:4] in (b"PK\x03\x04", b"PK\x05\x06", b"PK\x07\x08")
    if zipped != (kind == "3mf"):
        found = "is a zip archive" if zipped else "is no zip archive"
        raise PatternRefused("format", f"The file is named .{kind} but {found}. {AGAIN}")
    return kind


def _too_many(count: int, limits: Limits) -> PatternRefused:
    return PatternRefused(
        "too_many_facets",
        f"The file holds {count:,} facets; at most {limits.facets:,}. Export it with coarser "
        "facets.",
    )


def _stl(data: bytes, limits: Limits) -> Floats:
    count = int.from_bytes(data[80:84], "little") if len(data) >= _STL_HEAD else 0
    # binary files are often headed "solid" too, so the length decides and not the first word
    if len(data) >= _STL_HEAD and len(data) == _STL_HEAD + _STL_FACET * count:
        if count > limits.facets:
            raise _too_many(count, limits)
        rows = np.frombuffer(data, dtype=_STL_ROW, offset=_STL_HEAD)
        corners: Floats = rows["corners"].reshape(-1, 3).astype(np.float64)
        return corners
    if data[:512].lstrip().lower().startswith(b"solid") and b"\0" not in data:
        return _text_stl(data, limits)
    if len(data) < _STL_HEAD:
        raise PatternRefused(
            "wrong_length",
            f"The file has {len(data)} bytes; a binary STL has at least {_STL_HEAD}. {AGAIN}",
        )
    raise PatternRefused(
        "wrong_length",
        f"The file has {len(data):,} bytes, but a binary STL of the {count:,} facets it "
        f"announces has {_STL_HEAD + _STL_FACET * count:,}. It was cut off or is no STL. {AGAIN}",
    )


def _text_stl(data: bytes, limits: Limits) -> Floats:
    facets, ends = (
        len(re.findall(word, data, re.IGNORECASE)) for word in (rb"\bfacet\b", rb"\bendfacet\b")
    )
    if facets > limits.facets:
        raise _too_many(facets, limits)
    if b"endsolid" not in data[-4096:].lower():
        raise PatternRefused(
            "wrong_length", f"The text STL does not end with 'endsolid': it was cut off. {AGAIN}"
        )
    rows = _VERTEX.findall(data)
    if facets != ends or len(rows) != 3 * facets:
        raise PatternRefused(
            "not_a_mesh",
            f"The text STL opens {facets:,} facets, closes {ends:,} and has {len(rows):,} "
            f"corners; each facet needs 3. {AGAIN}",
        )
    try:
        return np.array(rows, dtype=np.bytes_).reshape(-1, 3).astype(np.float64)
    except ValueError as wrong:
        raise PatternRefused(
            "not_a_mesh", f"A corner in the text STL is not a number ({str(wrong)[:60]}). {AGAIN}"
        ) from wrong


def _by_library(data: bytes, kind: str, limits: Limits) -> tuple[Floats, Ints]:
    import trimesh

    _check_ply_head(data, limits) if kind == "ply" else _check_obj(data, limits)
    try:
        loaded = trimesh.load_mesh(io.BytesIO(data), file_type=kind, process=False)
    except MemoryError:
        raise
    except Exception as wrong:  # the library raises many kinds for a broken file
        reason = " ".join(str(wrong).split())[:80] or type(wrong).__name__
        raise PatternRefused(
            "not_a_mesh", f"The {kind.upper()} file can't be read ({reason}). {AGAIN}"
        ) from wrong
    points, facets = getattr(loaded, "vertices", None), getattr(loaded, "faces", None)
    if points is None or facets is None or len(facets) == 0:
        raise PatternRefused(
            "empty", f"The {kind.upper()} file holds no facets, only points or nothing. {AGAIN}"
        )
    corners, rows = np.array(points, dtype=np.float64), np.array(facets, dtype=np.int64)
    # the library's mesh refers to itself and keeps the raw file: hundreds of megabytes
    del loaded, points, facets
    gc.collect()
    if corners.shape != (len(corners), 3) or rows.shape != (len(rows), 3):
        raise PatternRefused(
            "not_a_mesh", f"The {kind.upper()} file has facets or corners without 3 parts. {AGAIN}"
        )
    return corners, rows


def _check_ply_head(data: bytes, limits: Limits) -> None:
    head, end, _ = data[:65_536].partition(b"end_header")
    if not head.startswith(b"ply") or not end:
        raise PatternRefused(
            "not_a_mesh", f"The PLY file has no header from 'ply' to 'end_header'. {AGAIN}"
        )
    counts = dict(re.findall(rb"^\s*element\s+(vertex|face)\s+(\d{1,18})\s*$", head, re.MULTILINE))
    points, facets = int(counts.get(b"vertex", 0)), int(counts.get(b"face", 0))
    if not points or not facets:
        raise PatternRefused(
            "empty", f"The PLY header announces {points} points and {facets} facets. {AGAIN}"
        )
    if facets > limits.facets:
        raise _too_many(facets, limits)
    # the shortest possible rows: three one-byte coordinates, a count and three one-byte indices
    if 3 * points + 4 * facets > len(data) - len(head):
        raise PatternRefused(
            "wrong_length",
            f"The PLY header announces {points:,} points and {facets:,} facets, more than "
            f"{len(data):,} bytes can hold. It was cut off. {AGAIN}",
        )


def _check_obj(data: bytes, limits: Limits) -> None:
    if b"\0" in data:
        raise PatternRefused("not_a_mesh", f"The OBJ file holds binary data. {AGAIN}")
    facets = len(re.findall(rb"^[ \t]*f[ \t]", data, re.MULTILINE))
    if facets > limits.facets:
        raise _too_many(facets, limits)
    if not facets:
        raise PatternRefused("empty", f"The OBJ file holds no facets ('f' lines). {AGAIN}")
    if re.search(rb"^[ \t]*v[ \t][^\n]*\b(nan|inf)", data, re.MULTILINE | re.IGNORECASE):
        raise PatternRefused(
            "not_finite",
            f"A corner in the file is not a number or infinite. {AGAIN}",
        )


def _check_facets(facets: Ints, points: int, limits: Limits) -> None:
    if len(facets) > limits.facets:
        raise _too_many(len(facets), limits)
    if len(facets) and not (int(facets.min()) >= 0 and int(facets.max()) < points):
        raise PatternRefused(
            "not_a_mesh",
            f"A facet names corner {int(facets.max())}; the file has corners 0 to {points - 1}. "
            f"{AGAIN}",
        )
