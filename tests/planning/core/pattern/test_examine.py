"""A pattern examined as a whole: box, cover, halves, what is said and what is drawn."""

import io
import json
import math

import numpy as np
import pytest

from planning.core.casting.geometry import BadGeometry, CastingShape
from planning.core.pattern.classes import COLOURS, HATCHES
from planning.core.pattern.examine import Setup, examine, half_of, legend_lines, summary
from planning.core.pattern.mesh import Mesh, PatternRefused
from planning.core.pattern.picture import SHOWN
from planning.core.pattern.raster import rasterise
from planning.core.pattern.sections import Sections
from tests.planning.core.pattern.meshes import box_mesh, dovetail_mesh, frustum_mesh, sphere_mesh

DOVETAIL = examine(dovetail_mesh(), Setup(margin_mm=30, cover_mm=15, thickest_lift_mm=30))


def test_a_box_pattern_gives_the_casting_of_schoolbook_sums():
    setup = Setup(margin_mm=25, cover_mm=20, thickest_lift_mm=70)
    report = examine(box_mesh(300, 200, 120), setup).report
    (half,) = report.halves
    assert report.size_mm == (300, 200, 120)
    assert report.volume_l == pytest.approx(7.2, rel=1e-12)
    assert half.box_mm == (350, 250, 140)
    assert half.casting_l == pytest.approx(350 * 250 * 140 / 1e6 - 7.2, rel=1e-12)
    assert half.layers == [
        (0, 70, pytest.approx((350 * 250 - 300 * 200) * 70 / 1e6)),
        (70, 140, pytest.approx((350 * 250 * 70 - 300 * 200 * 50) / 1e6)),
    ]
    assert half.cover.over_highest_mm == 20
    assert half.cover.thinnest_mm == 20
    assert half.wetted_mm2 == pytest.approx(300 * 200 + 1000 * 120)
    assert (half.undercut_mm2, half.trapped_mm2) == (0, 0)
    assert summary(report) == "No undercuts found by the facets' directions."


def test_any_lift_can_be_read_from_what_is_stored():
    (half,) = DOVETAIL.report.halves
    stored = json.loads(json.dumps(DOVETAIL.report.as_json()))
    shape = CastingShape.from_rows(stored["halves"][0]["casting_rows"])
    assert shape.volume_l() == pytest.approx(half.casting_l)
    groove = (50 + 80) / 2 * 30 * 140
    pattern = (200 * 60 * 140 - groove) / 1e6
    assert half.casting_l == pytest.approx(260 * 200 * 75 / 1e6 - pattern)
    assert shape.volume_l(60, 75) == pytest.approx(260 * 200 * 15 / 1e6)


def test_the_box_leans_and_cover_is_measured_square_to_its_walls():
    setup = Setup(margin_mm=12, cover_mm=40, wall_draft_deg=-4)
    report = examine(frustum_mesh(4, 100, 100, 90), setup).report
    (half,) = report.halves
    lean = math.radians(4)
    across = 12 * math.cos(lean) - 90 * math.sin(lean)
    assert half.cover.thinnest_towards == "side"
    assert half.cover.thinnest_mm == pytest.approx(across)
    assert half.cover.thinnest_at_mm[2] == 90
    assert half.cover.remark.startswith(
        f"Thinnest cover is {across:.4g} mm towards the side; at least 10 mm is asked."
    )


def test_thin_cover_over_the_highest_point_is_remarked():
    (half,) = examine(sphere_mesh(), Setup(cover_mm=6)).report.halves
    assert half.cover.thinnest_towards == "top"
    assert half.cover.remark.startswith("Cover over the highest point is 6 mm; at least 10 mm")


def test_a_pattern_that_reaches_the_wall_has_cover_over_it_only():
    (half,) = examine(box_mesh(300, 200, 120), Setup(margin_mm=0, cover_mm=30)).report.halves
    assert half.cover.thinnest_mm == 30
    assert half.cover.remark == ""
    assert half.casting_l == pytest.approx(300 * 200 * 30 / 1e6)


def test_walls_leaning_into_the_pattern_leave_no_casting_and_say_so():
    setup = Setup(margin_mm=0, cover_mm=30, wall_draft_deg=-10)
    (half,) = examine(box_mesh(300, 200, 120), setup).report.halves
    assert half.casting_l is None
    assert half.layers == []
    assert "The pattern is larger than its box" in half.refused


def test_two_halves_of_a_ball_are_two_equal_castings():
    setup = Setup(parting_mm=50, margin_mm=30, cover_mm=20)
    report = examine(sphere_mesh(50, 4), setup).report
    upper, lower = report.halves
    assert (upper.name, lower.name) == ("A", "B")
    assert upper.box_mm == pytest.approx((160, 160, 70))
    assert upper.casting_l == pytest.approx(lower.casting_l, rel=1e-9)
    assert upper.casting_l + lower.casting_l + report.volume_l == pytest.approx(
        160 * 160 * 140 / 1e6
    )
    assert report.undercut_count == 0


def test_the_lower_half_is_turned_over():
    shape = Sections(frustum_mesh(48, 80, 60, 150)).shape().shape
    lower = half_of(shape, 60, upper=False)
    assert lower.depth_mm == 60
    assert lower.area_mm2(0) == pytest.approx(shape.area_mm2(60), rel=1e-12)
    assert lower.area_mm2(60) == pytest.approx(shape.area_mm2(0), rel=1e-12)


def test_a_leaky_pattern_has_no_volume_until_it_is_repaired():
    whole = dovetail_mesh()
    leaky = Mesh(whole.points_mm, whole.facets[1:])
    report = examine(leaky, Setup()).report
    assert report.volume_l is None
    assert report.sections == []
    assert report.halves[0].casting_l is None
    assert "not closed" in report.halves[0].refused
    assert report.remarks[0] == "3 open edges: the surface has holes or gaps."
    assert report.halves[0].undercut_mm2 > 0
    mended = examine(leaky, Setup(repair=True)).report
    assert mended.volume_l == pytest.approx(DOVETAIL.report.volume_l, rel=1e-12)
    assert mended.repaired[0].startswith("1 hole with 3 edges closed by 1 flat facet")


def test_undercuts_are_summed_up_for_people():
    assert summary(DOVETAIL.report).startswith("2 undercuts of 93.91 cm2 together would lock")
    lines = {line.shown: line.text for line in legend_lines(DOVETAIL.report)}
    assert lines["undercut"] == "undercut, locks: 93.91 cm2"
    assert lines["upright"] == f"upright, no draft: {(2 * 60 * 140 + 2 * 10050) / 100:.4g} cm2"
    assert set(lines) == {"undercut", "upright", "square", "trapped", "resting"}


@pytest.mark.parametrize(
    ("setup", "said"),
    [
        ({"pull": "up"}, "pull is 'up'; give one of +z, -z, +x, -x, +y, -y."),
        ({"pull": (0, 0, 0)}, "give three numbers, not all 0."),
        ({"parting_mm": 500}, "parting_mm is 500 mm; it must be 0 to below 60 mm"),
        ({"margin_mm": -3}, "margin_mm is -3 mm; it must be 0 to 10000 mm."),
        ({"cover_mm": math.nan}, "cover_mm is nan mm"),
        ({"thickest_lift_mm": 0}, "thickest_lift_mm is 0 mm"),
        ({"wall_draft_deg": 60}, "wall_draft_deg is 60 deg"),
    ],
)
def test_a_setup_that_makes_no_sense_is_refused(setup, said):
    with pytest.raises((BadGeometry, PatternRefused)) as refused:
        examine(dovetail_mesh(), Setup(**setup))
    assert said in str(refused.value)


def test_a_sheet_without_height_is_refused():
    sheet = Mesh(np.array([[0.0, 0, 5], [10, 0, 5], [0, 10, 5]]), np.array([[0, 1, 2]]))
    with pytest.raises(PatternRefused, match="is 0 mm high along the pull; at least"):
        examine(sheet, Setup())


def picture(examined, view):
    from PIL import Image

    data = examined.picture(view)
    image = Image.open(io.BytesIO(data))
    assert image.format == "PNG"
    assert len(data) < 400_000
    return np.asarray(image.convert("RGB")).astype(int)


def hue_share(pixels, colour):
    """Share of pixels of a colour's hue, however it is lit: same direction in RGB."""
    want = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)], dtype=float)
    length = np.linalg.norm(pixels, axis=2)
    cosine = (pixels @ want) / np.maximum(length, 1) / np.linalg.norm(want)
    return float(((cosine > 0.998) & (length > 100)).mean())


def test_the_picture_shows_the_undercut_and_what_lies_under_it():
    drawn = picture(DOVETAIL, "above")[50:690]
    assert hue_share(drawn, COLOURS["undercut"]) > 0.01
    assert hue_share(drawn, COLOURS["trapped"]) > 0.005
    free = examine(frustum_mesh(48, 80, 60, 150), Setup())
    assert hue_share(picture(free, "above")[50:690], COLOURS["undercut"]) == 0
    assert hue_share(picture(free, "above")[50:690], COLOURS["above_band"]) > 0.05


def test_a_ball_seen_from_below_is_undercut_all_over():
    ball = examine(sphere_mesh(50, 4), Setup())
    below, above = (picture(ball, view)[50:690] for view in ("below", "above"))
    share = hue_share(below, COLOURS["undercut"])
    assert share > 0.15
    assert hue_share(above, COLOURS["undercut"]) < 0.5 * share


def luminance(colour):
    """Relative luminance of a colour, WCAG 2 definition (from memory)."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def test_classes_stay_apart_in_black_and_white():
    """Two classes differ in hatch, or in lightness by more than 1.2 to 1."""
    for one in SHOWN:
        for other in SHOWN[SHOWN.index(one) + 1 :]:
            light, dark = sorted((luminance(COLOURS[one]), luminance(COLOURS[other])))[::-1]
            apart = (light + 0.05) / (dark + 0.05)
            assert HATCHES.get(one) != HATCHES.get(other) or apart > 1.2, (one, other)


def test_the_nearest_facet_wins_each_pixel():
    """Two crossing triangles: the nearer one is seen on each side of where they cross."""
    points = np.array(
        [[0, 0, 0], [100, 0, 10], [0, 100, 0], [0, 0, 5], [100, 0, 5], [0, 100, 5]], float
    )
    seen = rasterise(points, np.array([[0, 1, 2], [3, 4, 5]]), 100, 100)
    assert seen.facet[10, 30] == 1
    assert seen.facet[10, 70] == 0
    assert seen.depth[10, 70] == pytest.approx(7.05)
    assert seen.facet[90, 90] == -1
    assert (seen.facet >= 0).mean() == pytest.approx(0.5, abs=0.01)


def test_slivers_and_stacked_sheets_are_drawn_without_endless_work():
    """20 000 slivers across the picture, and 5000 facets over each other, drawn coarser."""
    turn = np.linspace(0, np.pi / 2, 20_001)
    fan = np.vstack([[[0, 0, 0]], np.column_stack([900 * np.cos(turn), 900 * np.sin(turn), turn])])
    order = np.arange(1, 20_001)
    slivers = np.column_stack([np.zeros_like(order), order, order + 1])
    seen = rasterise(fan, slivers, 900, 900)
    assert seen.coarser == 1
    assert (seen.facet >= 0).mean() == pytest.approx(np.pi / 4, abs=0.002)
    # a pixel's facet is the sliver at its own angle
    assert seen.facet[300, 400] == pytest.approx(np.arctan2(300.5, 400.5) / turn[1], abs=1)
    sheets = np.repeat(np.array([[0.0, 0, 0], [900, 0, 0], [0, 900, 0]])[None], 5_000, axis=0)
    sheets[:, :, 2] = np.arange(5_000)[:, None]
    stacked = rasterise(sheets.reshape(-1, 3), np.arange(15_000).reshape(-1, 3), 900, 900)
    assert stacked.coarser == 8
    assert set(np.unique(stacked.facet)) == {-1, 4_999}
    assert stacked.facet.shape == (900, 900)
    assert (stacked.facet >= 0).mean() == pytest.approx(0.5, abs=0.02)


def test_a_flange_parted_at_its_underside_shows_no_undercut():
    flange, foot = frustum_mesh(32, 60, 55, 20), frustum_mesh(32, 30, 40, 50)
    points = np.vstack([foot.points_mm, flange.points_mm + np.array([0, 0, 50])])
    facets = np.vstack([foot.facets, flange.facets + len(foot.points_mm)])
    examined = examine(Mesh(points, facets), Setup(parting_mm=50))
    assert examined.report.undercut_count == 0
    drawn = picture(examined, "below")[50:690]
    assert hue_share(drawn, COLOURS["undercut"]) == 0
    assert (drawn.sum(axis=2) < 60).mean() < 0.01
