"""Pattern files nobody should trust: name, bytes, unit and the code they are refused by."""

# ruff: noqa: E501  (a table of files reads best with one file a line)

import io
import struct
import zipfile
import zlib

import numpy as np

from planning.core.pattern.mesh import Mesh
from tests.planning.core.pattern.meshes import archive, binary_stl, box_mesh, model_3mf, text_stl

BOX = box_mesh(30, 20, 10)
STL, TEXT = binary_stl(BOX), text_stl(BOX)


def stl_with(value, facet=4):
    """The box with one corner replaced."""
    data = bytearray(STL)
    struct.pack_into("<f", data, 84 + 50 * facet + 12, value)
    return bytes(data)


def ply(vertices=3, faces=1, body=b"0 0 0\n10 0 0\n0 10 0\n3 0 1 2\n", kind=b"ascii"):
    return (
        b"ply\nformat %s 1.0\nelement vertex %d\nproperty float x\nproperty float y\n"
        b"property float z\nelement face %d\nproperty list uchar int vertex_indices\n"
        b"end_header\n" % (kind, vertices, faces)
    ) + body


def obj(*lines):
    return "\n".join(("v 0 0 0", "v 10 0 0", "v 0 10 0", *lines)).encode()


def packed(megabytes):
    """A 3MF whose model is megabytes of blanks."""
    return archive(b"<model>" + b" " * (megabytes << 20) + b"</model>")


def lying_archive():
    """A 3MF whose table of contents says its model has 10 bytes."""
    data = bytearray(packed(64))
    central = data.rindex(b"PK\x01\x02")
    struct.pack_into("<I", data, central + 24, 10)
    return bytes(data)


def broken_member():
    data = bytearray(archive(model_3mf(BOX)))
    for place in range(60, 120):
        data[place] ^= 0xFF
    return bytes(data)


def many_members():
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as file:
        for number in range(1200):
            file.writestr(f"part{number}", b"")
    return out.getvalue()


def encrypted():
    data = bytearray(archive(model_3mf(BOX)))
    data[data.index(b"PK\x03\x04") + 6] |= 1
    data[data.rindex(b"PK\x01\x02") + 8] |= 1
    return bytes(data)


def doubling(depth, circle=False):
    """Objects of two objects of two objects: 2**depth boxes."""
    more = "".join(
        f'<object id="{level}"><components><component objectid="{level - 1}"/>'
        f'<component objectid="{level - 1}"/></components></object>'
        for level in range(2, depth + 2)
    )
    if circle:
        more += '<object id="9"><components><component objectid="9"/></components></object>'
    top = 9 if circle else depth + 1
    return archive(model_3mf(BOX, build=f'<item objectid="{top}"/>', more=more))


def wide_nothing():
    """Objects without a facet, placed a hundred million times."""
    parts = '<component objectid="{}"/>' * 100
    more = '<object id="2"/>' + "".join(
        f'<object id="{level}"><components>{parts.format(*[level - 1] * 100)}</components></object>'
        for level in (3, 4, 5, 6)
    )
    return archive(model_3mf(BOX, build='<item objectid="6"/>', more=more), packed=False)


ENTITIES = (
    b'<?xml version="1.0"?><!DOCTYPE model [<!ENTITY a "aaaaaaaaaa">'
    b'<!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;&a;&a;">]><model>&b;</model>'
)
OUTSIDE = (
    b'<?xml version="1.0"?><!DOCTYPE model [<!ENTITY a SYSTEM "file:///etc/hostname">]>'
    b"<model>&a;</model>"
)
MODEL = model_3mf(BOX).decode()

HOSTILE = [
    ("empty", "a.stl", b"", "mm", "empty"),
    ("one byte", "a.stl", b"x", "mm", "wrong_length"),
    ("no ending", "pattern", STL, "mm", "format"),
    ("other ending", "a.exe", STL, "mm", "format"),
    ("ending only", ".", STL, "mm", "format"),
    ("long ending", "a." + "x" * 5000, STL, "mm", "format"),
    ("zip named stl", "a.stl", archive(MODEL), "mm", "format"),
    ("stl named 3mf", "a.3mf", STL, "mm", "format"),
    ("unit missing", "a.stl", STL, "", "unit"),
    ("unit unknown", "a.stl", STL, "furlong", "unit"),
    ("stl cut short", "a.stl", STL[:-7], "mm", "wrong_length"),
    ("stl one byte too long", "a.stl", STL + b"\0", "mm", "wrong_length"),
    ("stl announces 4 billion facets", "a.stl", binary_stl(BOX, announced=2**32 - 1), "mm", "wrong_length"),
    ("stl announces none", "a.stl", binary_stl(BOX, announced=0), "mm", "wrong_length"),
    ("stl head only", "a.stl", bytes(84), "mm", "empty"),
    ("stl with NaN", "a.stl", stl_with(float("nan")), "mm", "not_finite"),
    ("stl with infinity", "a.stl", stl_with(float("-inf")), "mm", "not_finite"),
    ("stl all NaN", "a.stl", STL[:84] + b"\xff" * 600, "mm", "not_finite"),
    ("stl with 1e38", "a.stl", stl_with(1e38), "mm", "wrong_scale"),
    ("stl all in one point", "a.stl", STL[:84] + bytes(600), "mm", "wrong_scale"),
    ("stl far too small", "a.stl", binary_stl(box_mesh(1e-3, 1e-3, 1e-3)), "mm", "wrong_scale"),
    ("stl in metres read in mm", "a.stl", binary_stl(box_mesh(0.03, 0.02, 0.01)), "mm", "wrong_scale"),
    ("stl in mm read in metres", "a.stl", binary_stl(box_mesh(300, 200, 100)), "m", "wrong_scale"),
    ("stl far from its origin", "a.stl", binary_stl(Mesh(BOX.points_mm + 1e9, BOX.facets)), "mm", "wrong_scale"),
    ("stl over the facet limit", "a.stl", b"\0" * 80 + struct.pack("<I", 999) + bytes(999 * 50), "mm", "too_many_facets"),
    ("stl over the byte limit", "a.stl", bytes(300_000), "mm", "too_large"),
    ("text cut off", "a.stl", TEXT[: len(TEXT) // 2], "mm", "wrong_length"),
    ("text with two corners", "a.stl", TEXT.replace(b"vertex", b"corner", 1), "mm", "not_a_mesh"),
    ("text with a word for a number", "a.stl", TEXT.replace(b"30.0", b"thirty"), "mm", "not_a_mesh"),
    ("text with nan", "a.stl", TEXT.replace(b"30.0", b"nan"), "mm", "not_finite"),
    ("text with 1e999", "a.stl", TEXT.replace(b"30.0", b"1e999"), "mm", "not_finite"),
    ("text without facets", "a.stl", b"solid x\nendsolid x\n", "mm", "empty"),
    ("text with a million digits", "a.stl", TEXT.replace(b"30.0", b"3" * 100_000, 1), "mm", "not_finite"),
    ("text over the facet limit", "a.stl", text_stl(Mesh(BOX.points_mm, np.tile(BOX.facets, (60, 1)))), "mm", "too_many_facets"),
    ("solid at the head of rubbish", "a.stl", b"solid " + bytes(range(256)) * 4, "mm", "wrong_length"),
    ("a web page", "a.stl", b"<!doctype html><title>Not found</title>" * 20, "mm", "wrong_length"),
    ("ply without header", "a.ply", b"ply\nformat ascii 1.0\n0 0 0", "mm", "not_a_mesh"),
    ("ply that is no ply", "a.ply", STL, "mm", "not_a_mesh"),
    ("ply announcing 10^17 points", "a.ply", ply(vertices=10**17), "mm", "wrong_length"),
    ("ply announcing too many facets", "a.ply", ply(faces=10**6), "mm", "too_many_facets"),
    ("ply without facets", "a.ply", ply(faces=0), "mm", "empty"),
    ("ply cut off", "a.ply", ply(body=b"0 0 0\n10 0 0\n0 1"), "mm", "not_a_mesh"),
    ("ply binary cut off", "a.ply", ply(vertices=30, faces=2, kind=b"binary_little_endian", body=bytes(120)), "mm", "not_a_mesh"),
    ("ply naming a corner it lacks", "a.ply", ply(body=b"0 0 0\n10 0 0\n0 10 0\n3 0 1 9\n"), "mm", "not_a_mesh"),
    ("ply naming a corner below nought", "a.ply", ply(body=b"0 0 0\n10 0 0\n0 10 0\n3 0 1 -7\n"), "mm", "not_a_mesh"),
    ("ply with nan", "a.ply", ply(body=b"0 0 0\nnan 0 0\n0 10 0\n3 0 1 2\n"), "mm", "not_finite"),
    ("ply of an unknown format", "a.ply", ply(kind=b"riddle"), "mm", "not_a_mesh"),
    ("obj without facets", "a.obj", obj(), "mm", "empty"),
    ("obj of bytes", "a.obj", bytes(range(256)), "mm", "not_a_mesh"),
    ("obj naming a corner it lacks", "a.obj", obj("f 1 2 99"), "mm", "not_a_mesh"),
    ("obj naming a corner far below nought", "a.obj", obj("f -99 1 2"), "mm", "not_a_mesh"),
    ("obj with words", "a.obj", obj("f one two three"), "mm", "not_a_mesh"),
    ("obj with inf", "a.obj", obj("v inf 0 0", "f 1 2 4"), "mm", "not_finite"),
    ("obj with 1e999", "a.obj", obj("v 1e999 0 0", "f 1 2 4"), "mm", "not_finite"),
    ("obj over the facet limit", "a.obj", obj(*["f 1 2 3"] * 600), "mm", "too_many_facets"),
    ("obj with one huge polygon", "a.obj", obj("f " + "1 2 3 " * 5000), "mm", "too_many_facets"),
    ("3mf of blanks, 64 MB in 65 kB", "a.3mf", packed(64), "mm", "zip_bomb"),
    ("3mf lying about its size", "a.3mf", lying_archive(), "mm", ("zip_bomb", "not_a_mesh")),
    ("3mf with 1200 members", "a.3mf", many_members(), "mm", "zip_bomb"),
    ("3mf damaged", "a.3mf", broken_member(), "mm", "not_a_mesh"),
    ("3mf cut off", "a.3mf", archive(MODEL)[:-40], "mm", "not_a_mesh"),
    ("3mf encrypted", "a.3mf", encrypted(), "mm", "not_a_mesh"),
    ("3mf without model", "a.3mf", archive(MODEL, name="hello.txt"), "mm", "not_a_mesh"),
    ("3mf of broken XML", "a.3mf", archive(MODEL[:-30]), "mm", "not_a_mesh"),
    ("3mf with entities", "a.3mf", archive(ENTITIES), "mm", "not_a_mesh"),
    ("3mf reaching for a file", "a.3mf", archive(OUTSIDE), "mm", "not_a_mesh"),
    ("3mf without items", "a.3mf", archive(model_3mf(BOX, build="")), "mm", "empty"),
    ("3mf building what it lacks", "a.3mf", archive(model_3mf(BOX, build='<item objectid="7"/>')), "mm", "not_a_mesh"),
    ("3mf in another unit", "a.3mf", archive(model_3mf(BOX, unit="inch")), "mm", "unit"),
    ("3mf in no unit", "a.3mf", archive(model_3mf(BOX, unit="ell")), "mm", "unit"),
    ("3mf doubling 2^15 times", "a.3mf", doubling(15), "mm", "too_many_facets"),
    ("3mf nested 40 deep", "a.3mf", doubling(40), "mm", "not_a_mesh"),
    ("3mf in a circle", "a.3mf", doubling(1, circle=True), "mm", "not_a_mesh"),
    ("3mf of 10^8 nothings", "a.3mf", wide_nothing(), "mm", "too_many_facets"),
    ("3mf naming a corner it lacks", "a.3mf", archive(MODEL.replace('v1="0"', 'v1="800"', 1)), "mm", "not_a_mesh"),
    ("3mf naming a corner below nought", "a.3mf", archive(MODEL.replace('v1="0"', 'v1="-1"', 1)), "mm", "not_a_mesh"),
    ("3mf without a coordinate", "a.3mf", archive(MODEL.replace('x="0.0"', "", 1)), "mm", "not_a_mesh"),
    ("3mf with a word for a number", "a.3mf", archive(MODEL.replace('x="0.0"', 'x="nought"', 1)), "mm", "not_a_mesh"),
    ("3mf with nan", "a.3mf", archive(MODEL.replace('x="0.0"', 'x="nan"', 1)), "mm", "not_finite"),
    ("3mf with a short transform", "a.3mf", archive(model_3mf(BOX, build='<item objectid="1" transform="1 0 0"/>')), "mm", "not_a_mesh"),
    ("3mf of a gzip stream", "a.3mf", zlib.compress(STL), "mm", "format"),
]  # fmt: skip
