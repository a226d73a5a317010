import json
from datetime import timedelta
from decimal import Decimal

import numpy as np
import pytest

from planning.core.casting.geometry import CastingShape
from planning.core.pattern.mesh import Mesh
from planning.patterns import actions, queries
from planning.patterns.models import PatternMesh, PatternState
from planning.pours.actions import change_pour
from planning.pours.models import Pour
from shared.errors import Invalid, ShopError
from tests.planning.core.pattern.hostile_files import HOSTILE
from tests.planning.core.pattern.meshes import binary_stl, dovetail_mesh, sphere_mesh

WALL_MM2 = np.hypot(15, 30) * 140
"""One leaning wall of the dovetail groove."""


def test_a_pattern_is_kept_under_a_name_of_our_own_and_waits(hand_in, media, dovetail):
    pattern = hand_in(file_name="../../etc/Groove for Anna.STL")
    assert pattern.state == PatternState.WAITING
    assert pattern.name == "Groove for Anna"
    assert pattern.file_name == "Groove for Anna.STL"
    assert [path.name for path in media.iterdir()] == [pattern.stored]
    assert pattern.stored.endswith(".stl")
    assert "Anna" not in pattern.stored
    assert pattern.path.read_bytes() == dovetail
    assert pattern.size_bytes == len(dovetail)


def test_reading_finds_volume_undercuts_and_lifts_and_draws_two_pictures(read):
    pattern = read(margin_mm=Decimal(30), cover_mm=Decimal(15), thickest_lift_mm=Decimal(30))
    assert pattern.state == PatternState.READY, pattern.refused_because
    report = pattern.report
    assert report["volume_l"] == pytest.approx((200 * 60 - 65 * 30) * 140 / 1e6, rel=1e-6)
    assert report["undercut_count"] == 2
    assert report["halves"][0]["undercut_mm2"] == pytest.approx(2 * WALL_MM2, rel=1e-6)
    assert len(report["halves"][0]["layers"]) == 3
    for view in ("above", "below"):
        assert pattern.picture(view).read_bytes().startswith(b"\x89PNG")
    assert 0 < pattern.took_s < 60
    assert 20 < pattern.peak_mb < 1024


def test_reading_twice_does_nothing_the_second_time(read, now):
    pattern = read()
    before = pattern.version
    again = actions.examine(pattern_id=pattern.pk, now=now + timedelta(minutes=1))
    assert again.version == before


def test_a_pattern_whose_worker_died_is_found_and_read(hand_in, now):
    pattern = hand_in()
    PatternMesh.objects.filter(pk=pattern.pk).update(
        state=PatternState.READING, started_at=now - timedelta(minutes=1)
    )
    assert queries.waiting(now) == []
    assert actions.examine(pattern_id=pattern.pk, now=now).state == PatternState.READING
    later = now + timedelta(minutes=5)
    assert queries.waiting(later) == [pattern.pk]
    assert actions.examine(pattern_id=pattern.pk, now=later).state == PatternState.READY


def test_a_lost_message_is_noticed_after_twenty_seconds(hand_in, now):
    pattern = hand_in()
    assert queries.waiting(now + timedelta(seconds=19)) == []
    assert queries.waiting(now + timedelta(seconds=21)) == [pattern.pk]


WITHIN_LIMITS = ("limit", "doubling", "announcing too many", "one huge polygon")
"""Cases refused only by the smaller limits their own test sets."""
SOME_HOSTILE = [
    case for case in HOSTILE if case[3] == "mm" and not any(w in case[0] for w in WITHIN_LIMITS)
][::9]


@pytest.mark.parametrize("case", SOME_HOSTILE, ids=[case[0] for case in SOME_HOSTILE])
def test_hostile_files_end_refused_with_a_reason_in_the_child_too(case, read):
    _, name, data, _, code = case
    if not data or name.rsplit(".", 1)[-1] not in actions.FORMATS:
        with pytest.raises(Invalid):
            read(data, name)
        assert not PatternMesh.objects.exists()
        return
    pattern = read(data, name)
    assert pattern.state == PatternState.REFUSED
    assert pattern.refused_code in ((code,) if isinstance(code, str) else code)
    assert len(pattern.refused_because) > 20
    assert pattern.report is None
    assert pattern.peak_mb < 300


def test_setups_that_do_not_fit_the_pattern_are_refused_in_words(read):
    pattern = read(parting_mm=Decimal(75))
    assert pattern.state == PatternState.REFUSED
    assert pattern.refused_because.startswith(
        "parting_mm is 75 mm; it must be 0 to below 60 mm, the pattern's height."
    )


@pytest.mark.parametrize(
    ("setup", "said"),
    [
        ({"band_low_deg": Decimal(6)}, "band_low_deg is 6 deg; it must be above 0 and below"),
        ({"thickest_lift_mm": Decimal(0)}, "thickest_lift_mm is 0 mm; it must be above 0 mm."),
    ],
)
def test_a_setup_that_makes_no_sense_leaves_no_file(hand_in, media, setup, said):
    with pytest.raises(Invalid, match="^" + said.split(";")[0]) as refused:
        hand_in(**setup)
    assert said in refused.value.message
    assert not media.exists()


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"", "file is empty, 0 bytes."),
        (bytes(actions.LARGEST_BYTES + 1), "at most 50,000,084 are taken"),
    ],
    ids=["empty", "one byte too many"],
)
def test_empty_and_oversized_files_leave_nothing_behind(hand_in, media, data, said):
    with pytest.raises(Invalid) as refused:
        hand_in(data)
    assert said in refused.value.message
    assert list(media.iterdir()) == []
    assert not PatternMesh.objects.exists()


def test_a_leaky_pattern_is_repaired_when_asked(read, now):
    whole = dovetail_mesh()
    pattern = read(binary_stl(Mesh(whole.points_mm, whole.facets[1:])))
    assert pattern.state == PatternState.READY
    assert pattern.report["volume_l"] is None
    waiting = actions.examine_again(pattern=pattern, changes={"repair": True}, now=now)
    assert (waiting.state, waiting.report) == (PatternState.WAITING, None)
    mended = actions.examine(pattern_id=pattern.pk, now=now)
    assert mended.report["solid"]
    assert mended.report["repaired"][0].startswith("1 hole with 3 edges closed")


def test_a_setup_changed_while_the_child_reads_is_not_overwritten(hand_in, now, monkeypatch):
    pattern = hand_in()
    from planning.patterns import reading

    real = reading.read

    def meanwhile(*args):
        found = real(*args)
        actions.examine_again(pattern=pattern, changes={"pull": "+x"}, now=now)
        return found

    monkeypatch.setattr(actions.reading, "read", meanwhile)
    left = actions.examine(pattern_id=pattern.pk, now=now)
    assert (left.state, left.report, left.pull) == (PatternState.WAITING, None, "+x")


def test_a_pour_takes_over_volume_by_height_and_area_to_coat(read, take):
    pattern = read(margin_mm=Decimal(30), cover_mm=Decimal(15))
    pour = actions.use_for_pour(pattern=pattern, half="A", pour=take())
    pour = Pour.objects.get(pk=pour.pk)
    groove = 65 * 30 * 140 / 1e6
    litres = 260 * 200 * 75 / 1e6 - (200 * 60 * 140 / 1e6 - groove)
    assert pour.geometry == "mesh"
    assert float(pour.volume_l) == pytest.approx(litres, abs=1e-4)
    assert pour.depth_mm == Decimal("75.0")
    shape = CastingShape.from_rows(pour.shape_rows)
    assert shape.volume_l(60, 75) == pytest.approx(260 * 200 * 15 / 1e6, rel=1e-6)
    assert sum(row["depth_mm"] for row in pour.layers) == pytest.approx(75)
    assert sum(row["mass_kg"] for row in pour.layers) == pytest.approx(
        float(pour.mass_kg), abs=1e-3
    )
    board = 260 * 200 - 200 * 140
    walls = 2 * (260 + 200) * 75
    pattern_mm2 = 2 * 60 * 140 + (200 - 50 + 80) * 140 + 2 * WALL_MM2 + 2 * (12_000 - 1950)
    assert float(pour.release_area_m2) == pytest.approx(
        (board + walls + pattern_mm2) / 1e6, abs=1e-4
    )
    assert pour.pattern == pattern


def test_a_pour_made_from_a_pattern_can_still_be_changed(read, take):
    from planning.pours.actions import change_pour

    pour = actions.use_for_pour(pattern=read(), half="A", pour=take())
    before = pour.mass_kg
    changed = change_pour(pour=pour, changes={"brush_coat_kg": Decimal("0.5")})
    assert changed.mass_kg == before + Decimal("0.5")


def test_the_week_plans_a_pour_by_the_layers_of_its_pattern(read, take, shop_site, now):
    from planning.schedule import actions as schedule

    pour = actions.use_for_pour(pattern=read(), half="A", pour=take())
    wish = schedule.request_plan(site=shop_site, week="2026-W49", now=now, seconds=0.5)
    plan = schedule.solve(plan_id=wish.pk, now=now)
    assert plan.violations == []
    planned = json.dumps(plan.plan)
    assert plan.plan["unplaced"] == []
    assert f'"{pour.pk}"' in planned


@pytest.mark.parametrize(
    ("half", "setup", "said"),
    [
        ("B", {}, "has no half B; it has A."),
        ("A", {"wall_draft_deg": Decimal(-30), "margin_mm": Decimal(1)}, "has no casting volume"),
    ],
)
def test_what_has_no_casting_is_not_given_to_a_pour(read, take, half, setup, said):
    pour = take()
    with pytest.raises(ShopError, match=said):
        actions.use_for_pour(pattern=read(**setup), half=half, pour=pour)
    pour.refresh_from_db()
    assert pour.geometry == "box"


def test_a_pattern_not_read_yet_is_not_given_to_a_pour(hand_in, take):
    with pytest.raises(ShopError, match="has no half A: it has not been examined"):
        actions.use_for_pour(pattern=hand_in(), half="A", pour=take())


def test_the_lower_half_of_a_ball_is_given_to_a_b_pour(read, take):
    pattern = read(binary_stl(sphere_mesh(50, 3)), parting_mm=Decimal(50))
    upper, lower = pattern.report["halves"]
    assert lower["casting_l"] == pytest.approx(upper["casting_l"], rel=1e-4)
    pour = actions.use_for_pour(pattern=pattern, half="B", pour=take())
    assert float(pour.volume_l) == pytest.approx(lower["casting_l"], abs=1e-4)


def test_a_pour_given_a_box_again_lets_go_of_its_pattern(read, take):
    pattern = read()
    pour = actions.use_for_pour(pattern=pattern, half="A", pour=take())
    changes = {"geometry": "box", "pattern_l": Decimal(0), "pattern_height_mm": None}
    pour = change_pour(pour=pour, changes=changes)
    assert pour.pattern is None
    assert pour.shape_rows == []
    box_l = pour.length_mm * pour.width_mm * pour.depth_mm / 1_000_000
    assert float(pour.volume_l) == pytest.approx(float(box_l), abs=1e-4)
    actions.throw_away(pattern=pattern)


def test_sizes_that_come_from_a_pattern_are_not_changed_by_hand(read, take):
    pour = actions.use_for_pour(pattern=read(), half="A", pour=take())
    with pytest.raises(Invalid) as refused:
        change_pour(pour=pour, changes={"depth_mm": Decimal(99)})
    (problem,) = refused.value.problems
    assert problem.pointer == "#/depth_mm"
    assert "come from its pattern" in problem.detail
    priority = change_pour(pour=pour, changes={"priority": 4})
    assert priority.pattern is not None


def test_throwing_away_removes_row_file_and_pictures(
    read, media, django_capture_on_commit_callbacks
):
    pattern = read()
    assert len(list(media.iterdir())) == 4
    with django_capture_on_commit_callbacks(execute=True):
        actions.throw_away(pattern=pattern)
    assert list(media.iterdir()) == []
    assert not PatternMesh.objects.exists()


def test_a_pattern_in_use_is_kept(read, take, media):
    pattern = read()
    actions.use_for_pour(pattern=pattern, half="A", pour=take())
    with pytest.raises(ShopError, match="was used for T-1 A; it is kept as their record"):
        actions.throw_away(pattern=pattern)
    assert len(list(media.iterdir())) == 4


def test_committing_sends_the_pattern_to_the_worker(hand_in, django_capture_on_commit_callbacks):
    with django_capture_on_commit_callbacks(execute=True):
        pattern = hand_in()
    pattern.refresh_from_db()
    assert pattern.state == PatternState.READY


def test_files_of_no_pattern_are_swept_after_a_day(read, media):
    import os
    from datetime import UTC, datetime

    now = datetime.now(UTC)
    read()
    kept = {path.name for path in media.iterdir()}
    old, young = media / "0123.stl", media / "4567.stl"
    for path in (old, young):
        path.write_bytes(b"left over")
    for path in (old, *(media / name for name in kept)):
        os.utime(path, (now.timestamp() - 90_000,) * 2)
    assert actions.sweep_files(now) == 1
    assert {path.name for path in media.iterdir()} == kept | {young.name}
