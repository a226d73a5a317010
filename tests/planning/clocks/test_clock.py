"""A lift's clock through the rows: what moves it, which way, and that nothing opens unasked."""

import random
from datetime import timedelta
from decimal import Decimal
from html import unescape

import pytest

from planning.batches.models import Batch, Lift
from planning.clocks import actions as clocks
from planning.clocks.asking import look
from planning.clocks.models import Cure, TemperatureReading
from planning.core.casting.arrhenius import shift_time
from planning.core.casting.clock_types import Reading
from planning.core.casting.exotherm import lift_temps_c
from planning.core.casting.faces import AIR_TOP, tool_side
from planning.core.casting.thinning import thinned
from planning.rules.actions import keep_rules
from planning.system_data import system_data
from shared.templatetags.units import moment
from shop import stores
from shop.core.own_kinetics import told_by
from shop.models import ResinSystem
from tests.conftest import make_user

OPENINGS = ("peak_due_at", "next_opens_at", "cured_due_at")
BESTS = ("peak_best_at", "opens_best_at", "demould_best_at", "cured_best_at")
FACTOR = 1.25
"""By which a data sheet's time is stretched where nothing else is known."""
WHERE = ("air", "air", "surface", "core")


def started():
    return clocks.start_clock(
        lift=Lift.objects.get(), poured_at=Batch.objects.get().planned_pour_end
    )


@pytest.fixture
def cure(planned):
    """A lift of the system known by its data sheet alone."""
    planned()
    return started()


@pytest.fixture
def deep(take, planned):
    """A lift of 55 mm of the system whose kinetics are known."""
    planned(take(system="T", depth_mm="55"))
    return started()


def row(cure, hours, celsius, where="air", **more):
    return {
        "key": f"{where}{hours}{celsius}",
        "at": cure.poured_at + timedelta(hours=hours),
        "celsius": Decimal(str(celsius)),
        "where": where,
        "pour": None if where == "air" else cure.lift.pour,
        "confirmed": True,
        **more,
    }


def log(cure, *rows, where="air", now_h=None):
    """Write down rows of hours after pouring and °C, all at the last of them or at `now_h`."""
    found = [row(cure, hours, celsius, where) for hours, celsius in rows]
    last = max(one["at"] for one in found)
    now = last if now_h is None else cure.poured_at + timedelta(hours=now_h)
    clocks.log_temperatures(site_id=cure.lift.pour.order.site_id, rows=found, now=now)
    return Cure.objects.get(pk=cure.pk)


def at(cure, hours):
    """Return the clock as it is worked out so many hours after pouring."""
    look(cure, cure.poured_at + timedelta(hours=hours))
    return Cure.objects.get(pk=cure.pk)


def times(cure, names=OPENINGS):
    return tuple(getattr(cure, name) for name in names)


def hours(cure, name):
    return (getattr(cure, name) - cure.poured_at).total_seconds() / 3600


def _at(cure, h):
    return cure.poured_at + timedelta(hours=h)


def read(first_h, last_h):
    """Return what was read between two hours after pouring."""
    cure = Cure.objects.get()
    return TemperatureReading.objects.filter(at__range=(_at(cure, first_h), _at(cure, last_h)))


def test_a_data_sheets_time_is_shifted_to_the_room_and_stretched(cure):
    """480 min at 23 °C on the data sheet, 22 °C expected, 73 of the careful pair in the cold."""
    slow = shift_time(480, 23, 22, 73_000)
    assert hours(cure, "cured_due_at") >= FACTOR * slow / 60
    usual = system_data(stores.system(cure.lift.pour.system_id)).usual_e_j_mol
    assert hours(cure, "cured_best_at") == pytest.approx(shift_time(480, 23, 22, usual) / 60, 0.01)
    assert cure.demould_due_at is None, "how fast it cools is not known"
    assert cure.waits_for == "cool_reading"
    assert "22 °C expected" in cure.basis


@pytest.mark.parametrize("until_h", [6, 20])
def test_the_exact_curve_of_the_model_moves_the_best_estimate_by_two_minutes_at_most(
    deep, until_h
):
    before = at(deep, 0)
    system = system_data(stores.system(deep.lift.pour.system_id))
    quarters = [n / 4 for n in range(1, 4 * until_h + 1)]
    curve = lift_temps_c(system, 55.0, 22.0, tool_side("board"), AIR_TOP, 27.5, quarters, cells=60)
    rows = [
        row(deep, h, round(float(t), 1), "core", height_mm=Decimal("27.5"))
        for h, t in zip(quarters, curve, strict=True)
    ]
    assert max(one["celsius"] for one in rows) > 35, "the curve shows the casting's own heat"
    now = deep.poured_at + timedelta(hours=until_h)
    clocks.log_temperatures(site_id=deep.lift.pour.order.site_id, rows=rows, now=now)
    after = Cure.objects.get(pk=deep.pk)
    for name in BESTS:
        moved = abs((getattr(after, name) - getattr(before, name)).total_seconds()) / 60
        assert moved <= 3, name  # two minutes, each rounded to a whole one
    assert after.next_opens_at >= after.opens_best_at
    assert after.demould_due_at >= after.demould_best_at
    assert after.cured_due_at >= after.cured_best_at
    assert after.next_closes_at <= after.closes_best_at


@pytest.mark.parametrize("where", ["core", "surface"])
def test_the_heat_of_a_casting_itself_moves_no_data_sheet_clock_earlier(cure, where):
    for h in range(1, 5):
        calm = at(cure, h)
        hot = log(cure, (h, 60 - 5 * h), where=where)
        for name in ("next_opens_at", "cured_due_at"):
            assert getattr(hot, name) >= getattr(calm, name)


def test_77_typed_for_fahrenheit_opens_nothing_even_confirmed(cure):
    calm = at(log(cure, *((h, 22) for h in range(5))), 5)
    slip = log(cure, (4.5, 77), now_h=5)
    assert times(slip) >= times(calm)
    assert slip.left_out == 1


def test_a_hole_round_a_cold_night_counts_as_the_night(cure):
    """Two readings of 23 °C, a night of 12 °C between them that the shop has stated."""
    keep_rules(site_id=cure.lift.pour.order.site_id, values={}, night_c=Decimal(12))
    watched = log(cure, *((h, 23) for h in range(13)), now_h=12)
    assert watched.holes == []
    clocks_of_all = times(watched)
    for reading in read(1, 11):
        clocks.mark_wrong(reading=reading, reason="never read", now=_at(cure, 12))
    blind = Cure.objects.get(pk=cure.pk)
    (hole,) = blind.holes
    assert (hole["from_h"], hole["to_h"], hole["counted_c"]) == (0, 12, 12)
    assert times(blind) > clocks_of_all


def test_a_warm_room_that_was_watched_moves_the_clocks_earlier(cure):
    calm = at(cure, 6)
    warm = log(cure, *((h, 26) for h in range(7)))
    assert warm.cured_due_at < calm.cured_due_at
    shortest = shift_time(240, 23, 26, 73_000) / 60 / FACTOR
    assert 0.85 * shortest < hours(warm, "next_closes_at") <= shortest


def test_page_shows_ranges_and_asks_for_readings_until_the_casting_is_watched(
    deep, client, time_machine
):
    pour = deep.lift.pour
    user = make_user("technician", pour.order.site)
    client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")

    def page():
        text = " ".join(client.get(f"/pours/{pour.pk}/").content.decode().split())
        cure = Cure.objects.get()
        early, late = (_at(cure, h) for h in cure.ranges["demould"])
        assert early < cure.demould_best_at < late
        shown = f"Cured and cool: {moment(early, zone)} to {moment(late, zone)}."
        return text, unescape(shown) in unescape(text)

    zone = pour.order.site.time_zone
    time_machine.move_to(_at(deep, 6), tick=False)
    text, shown = page()
    assert shown
    assert "Little is known yet, so each time has a range." in text
    assert "surer, the most useful first: the air of the shop, in the last hours; the core" in text
    assert "Nobody read the air of the shop" in text

    log(deep, *((h, 22) for h in range(7)))
    text, shown = page()
    assert shown, "air alone says nothing of the casting's own heat"
    assert "the core of the casting" in text
    assert "Nobody read the air" not in text

    log(deep, *((h / 2, 22 + h) for h in range(1, 13)), where="core")
    text, shown = page()
    assert not shown
    assert "Little is known" not in text


def test_a_casting_too_cold_to_cure_through_is_stalled(deep):
    system = ResinSystem.objects.get(code="T")
    system.kinetics["marks"]["demould_conversion"] = 0.9
    system.save()
    Lift.objects.update(expected_c=12)
    cold = log(deep, *((h, 12) for h in range(0, 40, 2)))
    assert cold.demould_due_at is None
    assert cold.waits_for == "stalled"


@pytest.mark.parametrize("seed", range(4))
def test_a_random_history_gives_one_clock_whatever_the_order_of_entry(cure, seed):
    """The account of its own: the same readings, each entered at once in the order they were."""
    draw = random.Random(seed)
    rows = [
        (round(draw.uniform(0, 20), 2), round(draw.uniform(12, 27), 1), draw.choice(WHERE))
        for _ in range(12)
    ]
    wrong = draw.sample(rows, 2)
    names = (*OPENINGS, *BESTS, "next_closes_at", "demould_due_at", "holes", "asks", "waits_for")
    found = []
    for order in (sorted(rows), draw.sample(rows, len(rows))):
        for one in order:
            clocks.log_temperatures(
                site_id=cure.lift.pour.order.site_id,
                rows=[{**row(cure, *one), "key": f"{len(found)}{one}"}],
                now=_at(cure, max(one[0], 1) if not found else 24),
            )
        for one in wrong:
            reading = read(0, 24).filter(key=f"{len(found)}{one}").get()
            clocks.mark_wrong(reading=reading, reason="a slip", now=_at(cure, 24))
        found.append(times(at(cure, 24), names))
        for reading in read(0, 24):
            clocks.mark_wrong(reading=reading, reason="to begin again", now=_at(cure, 24))
    assert found[0] == found[1]


def test_a_clock_that_is_to_be_worked_out_again_opens_nothing(cure):
    due = log(cure, (30, 24), where="surface").demould_due_at
    assert due is not None
    assert at(cure, 31).passed(due, _at(cure, 31))
    Cure.objects.update(looked_at=None)
    assert not Cure.objects.get().passed(due, _at(cure, 31))
    Cure.objects.update(looked_at=due - timedelta(minutes=1))
    assert not Cure.objects.get().passed(due, _at(cure, 31)), "it was not asked at its time"


def test_an_answer_to_an_older_question_is_thrown_away(cure, monkeypatch):
    """Somebody enters a reading while the worker works the clock out."""
    from planning.clocks import asking

    def slow(lift, poured_at, now):
        values = asking_values(lift, poured_at, now)
        asking.mark(Cure.objects.filter(pk=cure.pk))
        return values

    asking_values = asking.values_of
    monkeypatch.setattr(asking, "values_of", slow)
    assert not look(cure, _at(cure, 2))
    assert Cure.objects.get().looked_at is None


def test_a_mix_planned_cold_and_not_measured_counts_as_cold(take, planned):
    from planning.clocks.gather import poured_lift

    planned(take(system="T", depth_mm="55", mix_c="12"))
    lift, poured_at = Lift.objects.get(), Batch.objects.get().planned_pour_end
    assert poured_lift(lift, poured_at, poured_at).mix_c == 12.0
    lift.pour.mix_c = Decimal(35)  # a warm one opens nothing before somebody has measured it
    assert poured_lift(lift, poured_at, poured_at).mix_c is None


def test_a_logger_that_writes_every_minute_is_looked_at_by_the_ten_minutes():
    rows = [Reading(n / 60, 22 + n % 7, "air") for n in range(1440)]
    few = thinned(rows)
    assert 140 <= len(few) <= 150
    assert set(few) <= set(rows)
    assert set(thinned(random.Random(1).sample(rows, len(rows)))) == set(few)
    assert set(thinned(rows[:300])) == set(rows[:300])


def test_a_slip_in_the_height_of_a_sensor_is_no_fault(deep):
    now = _at(deep, 5)
    high = row(deep, 4, 30, "core", height_mm=Decimal(900))
    clocks.log_temperatures(site_id=deep.lift.pour.order.site_id, rows=[high], now=now)
    assert "; 1 temperature seen; " in Cure.objects.get().basis


def test_kinetics_fitted_from_own_records_narrow_the_clock_until_they_are_changed(deep):
    from planning.clocks.gather import poured_lift

    def trusted():
        return poured_lift(deep.lift, deep.poured_at, _at(deep, 1)).calibrated

    assert not trusted()
    system = ResinSystem.objects.get(pk=deep.lift.pour.system_id)
    told = told_by(
        system.kinetics, system.hardener.code, float(system.hardener_per_100),
        pours=4, readings=100, rms_k=0.3, rate_percent=10.0, heat_percent=2.0,
    )  # fmt: skip
    system.kinetics["fitted"] = told
    system.save()
    assert trusted()
    system.kinetics["a1_per_s"] = float(system.kinetics["a1_per_s"]) * 1.01
    system.save()
    assert not trusted()


def test_a_mould_held_colder_or_warmer_reaches_the_clock(deep):
    from planning.clocks.gather import poured_lift

    deep.lift.pour.mould_c = Decimal("12.5")
    assert poured_lift(deep.lift, deep.poured_at, _at(deep, 1)).mould_c == 12.5
    deep.lift.pour.mould_c = None
    assert poured_lift(deep.lift, deep.poured_at, _at(deep, 1)).mould_c is None


def test_a_cool_face_opens_demoulding_at_its_own_second_told_in_time_or_late(cure):
    seconds = 30 * 3600 + 17 * 60 + 23
    cool_at = cure.poured_at + timedelta(seconds=seconds)
    told = log(cure, (30, 24), (31, 24))  # the air
    assert told.demould_due_at is None
    cool = row(cure, seconds / 3600, 40, "surface") | {"at": cool_at}

    def entered(hours):
        site_id, now = cure.lift.pour.order.site_id, _at(cure, hours)
        clocks.log_temperatures(site_id=site_id, rows=[cool | {"key": f"cool{hours}"}], now=now)
        found = at(cure, 62)
        reading = TemperatureReading.objects.get(key=f"cool{hours}")
        clocks.mark_wrong(reading=reading, reason="to be entered late", now=_at(cure, 62))
        assert at(cure, 62).demould_due_at is None
        return found

    in_time, late = entered(31), entered(62)
    assert in_time.demould_due_at == late.demould_due_at == cool_at
    assert in_time.passed(cool_at, cool_at + timedelta(seconds=0))
    assert not in_time.passed(cool_at, cool_at - timedelta(seconds=1))
