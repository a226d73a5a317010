"""Good files are read alike whatever their format; bad ones are refused in one sentence."""

import gc
import random
import tracemalloc

import numpy as np
import pytest

from planning.core.pattern.mesh import Mesh, PatternRefused, weld
from planning.core.pattern.read import Limits, read_pattern
from tests.planning.core.pattern.hostile_files import HOSTILE
from tests.planning.core.pattern.meshes import (
    archive,
    binary_stl,
    box_mesh,
    dovetail_mesh,
    model_3mf,
    sphere_mesh,
    text_stl,
)

SMALL = Limits(bytes=290_000, facets=500, unpacked_bytes=40_000_000)
SOLIDS = {"box": box_mesh(300, 200, 120), "dovetail": dovetail_mesh(), "ball": sphere_mesh(50, 3)}


def by_library(mesh, kind):
    """The file as trimesh writes it: another program's idea of the format."""
    import trimesh

    written = trimesh.Trimesh(mesh.points_mm, mesh.facets, process=False)
    written.units = "millimeter"
    data = written.export(file_type=kind)
    return data.encode() if isinstance(data, str) else data


@pytest.mark.parametrize("solid", SOLIDS)
@pytest.mark.parametrize("kind", ["stl", "stl_ascii", "ply", "obj", "3mf"])
def test_files_of_another_program_are_read(solid, kind):
    mesh = SOLIDS[solid]
    read = read_pattern(by_library(mesh, kind), "Pattern." + kind[:3].upper(), "mm")
    assert len(read.facets) == len(mesh.facets)
    assert len(read.points_mm) == len(mesh.points_mm)
    assert read.signed_volume_mm3() == pytest.approx(mesh.signed_volume_mm3(), rel=1e-6)


@pytest.mark.parametrize("write", [binary_stl, text_stl, lambda m: archive(model_3mf(m))])
def test_files_written_here_equal_what_the_library_reads(write):
    """Volume to 1e-9 relative against trimesh on the very same bytes."""
    import io

    import trimesh

    data = write(SOLIDS["ball"])
    kind = "3mf" if data[:2] == b"PK" else "stl"
    other = trimesh.load_mesh(io.BytesIO(data), file_type=kind)
    mine = read_pattern(data, f"a.{kind}", "mm")
    assert mine.signed_volume_mm3() == pytest.approx(other.volume, rel=1e-9)


@pytest.mark.parametrize(("unit", "factor"), [("mm", 1), ("cm", 10), ("m", 1000), ("inch", 25.4)])
def test_the_unit_scales_the_pattern(unit, factor):
    read = read_pattern(binary_stl(box_mesh(0.3, 0.2, 0.125)), "a.stl", unit)
    assert read.size_mm == pytest.approx((0.3 * factor, 0.2 * factor, 0.125 * factor))


def test_a_binary_file_headed_solid_is_still_binary():
    read = read_pattern(binary_stl(SOLIDS["box"], head=b"solid of some program"), "a.stl", "mm")
    assert len(read.facets) == 12


def test_text_with_odd_line_ends_and_capitals_is_read():
    data = text_stl(SOLIDS["box"]).upper().replace(b"\n", b"\r\n\t ")
    assert len(read_pattern(data, "a.STL", "mm").facets) == 12


def test_facets_of_many_corners_are_cut_into_triangles():
    data = b"v 0 0 0\nv 10 0 0\nv 10 10 0\nv 0 10 0\nf 1 2 3 4\n"
    assert len(read_pattern(data, "a.obj", "mm").facets) == 2


def test_objects_placed_in_a_3mf_are_turned_moved_and_mirrored():
    build = (
        '<item objectid="1" transform="0 1 0 -1 0 0 0 0 1 100 0 0"/>'
        '<item objectid="2" transform="-1 0 0 0 1 0 0 0 1 0 0 0"/>'
    )
    more = (
        '<object id="2"><components><component objectid="1" '
        'transform="2 0 0 0 2 0 0 0 2 0 0 50"/></components></object>'
    )
    data = archive(model_3mf(box_mesh(30, 20, 10), build=build, more=more))
    read = read_pattern(data, "a.3mf", "mm")
    assert read.signed_volume_mm3() == pytest.approx(6000 + 8 * 6000)
    assert read.points_mm.min(axis=0) == pytest.approx([-60, 0, 0])
    assert read.points_mm.max(axis=0) == pytest.approx([100, 40, 70])


def test_welding_joins_equal_corners_only():
    points = np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0], [-0.0, 0, 0], [1, 0, 0], [0, 1, 1e-12]])
    welded = weld(points)
    assert len(welded.points_mm) == 4
    assert isinstance(welded, Mesh)


@pytest.mark.parametrize(
    ("name", "data", "unit", "code"), [case[1:] for case in HOSTILE], ids=[c[0] for c in HOSTILE]
)
def test_hostile_files_are_refused_with_a_reason_and_little_memory(name, data, unit, code):
    tracemalloc.start()
    try:
        with pytest.raises(PatternRefused) as refused:
            read_pattern(data, name, unit, SMALL)
        _, peak = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert refused.value.code in ((code,) if isinstance(code, str) else code)
    sentence = str(refused.value)
    assert sentence.endswith((".", "?"))
    assert 20 < len(sentence) < 320
    assert "Traceback" not in sentence
    assert peak < 60e6


def test_there_are_more_than_fifty_hostile_files_each_different():
    assert len({case[0] for case in HOSTILE}) == len(HOSTILE) >= 50


def test_refusals_name_value_limit_and_unit():
    cases = {case[0]: case for case in HOSTILE}

    def said(label):
        _, name, data, unit, _ = cases[label]
        with pytest.raises(PatternRefused) as refused:
            read_pattern(data, name, unit, SMALL)
        return str(refused.value)

    assert said("stl over the facet limit").startswith("The file holds 999 facets; at most 500.")
    assert said("stl over the byte limit").startswith(
        "The file has 300,000 bytes; at most 290,000."
    )
    assert said("stl cut short").startswith(
        "The file has 677 bytes, but a binary STL of the 12 facets it announces has 684."
    )
    assert said("stl in metres read in mm") == (
        "The longest side is 0.03 mm when the file is read in mm; it must be 0.1 mm to 10000 mm "
        "(10 m). Drawn in cm or m or inch?"
    )
    assert said("3mf in another unit").startswith(
        "unit is mm, but the 3MF file states inch itself."
    )


@pytest.mark.parametrize("kind", ["stl", "stl_ascii", "ply", "obj", "3mf"])
def test_damaged_files_are_read_or_refused_but_never_crash(kind):
    """Bytes changed, cut out and doubled at random; the seed is fixed, 300 files a format."""
    whole = by_library(SOLIDS["dovetail"], kind)
    gc.collect()
    gc.freeze()  # reading ends in a collection, which would walk all that is loaded by now
    rng = random.Random(20)
    refused = 0
    for _ in range(300):
        data = bytearray(whole)
        for _ in range(rng.choice([1, 3, 20])):
            place = rng.randrange(len(data))
            change = rng.random()
            if change < 0.6:
                data[place] = rng.randrange(256)
            elif change < 0.8:
                del data[place : place + rng.randrange(1, 40)]
            else:
                data[place:place] = data[place : place + rng.randrange(1, 40)]
            if not data:
                break
        try:
            read_pattern(bytes(data), f"a.{kind[:3]}", "mm")
        except PatternRefused:
            refused += 1
    assert refused > 0
