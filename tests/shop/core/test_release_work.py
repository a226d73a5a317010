"""What a tool's face wants next, and the shots between re-coats as parts stick."""

import random
from datetime import UTC, datetime, timedelta

import pytest

from shop.core.release_work import Done, Rules, cycles, face, interval, next_work
from shop.core.tool_life import Life

START = datetime(2026, 11, 1, 6, tzinfo=UTC)
RULES = Rules(coats=4, recoat_coats=1, sealed_first=True, shots_per_coat=20, strip_after=2)


def history(text):
    """Return what a row of words such as `seal coat4 shots20` says, an hour apart."""
    found = []
    for n, word in enumerate(text.split()):
        what = word.rstrip("0123456789")
        count = int(word[len(what) :] or 0)
        at = START + timedelta(hours=n)
        coats = max(count, 1) if what == "coat" else 0
        found.append(Done(what, at, coats=coats, shots=count if what == "shots" else 0))
    return found


@pytest.mark.parametrize(
    ("text", "following"),
    [
        ("", "seal"),
        ("seal", "season"),
        ("seal coat", "season"),
        ("seal coat coat coat coat", "re-coat"),
        ("seal coat4", "re-coat"),
        ("seal coat2 shots1 coat2", "season"),
        ("seal coat4 shots20 coat shots20", "re-coat"),
        ("seal coat4 shots20 coat shots20 coat shots20", "strip"),
        ("seal coat4 shots20 coat shots20 coat shots20 strip", "seal"),
        ("seal coat4 shots20 coat shots20 coat shots20 strip seal coat4", "re-coat"),
    ],
)
def test_steps_follow_one_another(text, following):
    assert next_work(face(history(text), RULES), RULES) == following


def test_a_tool_without_a_recipe_is_only_coated_again():
    rules = Rules(shots_per_coat=20, bare_first=False)
    assert next_work(face(history("shots15"), rules), rules) == "re-coat"
    assert face(history("shots15"), rules).shots == 15
    assert face(history("shots15 coat shots4"), rules).shots == 4


def test_two_coats_are_a_re_coat_only_together():
    rules = Rules(coats=2, recoat_coats=2, shots_per_coat=10)
    assert face(history("coat2 shots10 coat"), rules).shots == 10
    assert face(history("coat2 shots10 coat coat"), rules).shots == 0
    assert face(history("coat2 shots10 coat shots1 coat"), rules).shots == 11


def test_cycles_end_by_a_coat_or_by_a_part_that_sticks():
    seen = cycles(history("seal coat4 shots20 coat shots12 stuck shots3 coat shots7"), RULES)
    assert seen == [Life(20, False), Life(12, True), Life(7, False)]
    twice = cycles(history("coat4 shots5 stuck shots1 stuck coat shots2"), Rules(coats=4))
    assert twice == [Life(5, True), Life(2, False)]


def test_a_correction_takes_its_shots_off_the_coats():
    done = [Done("coat", START, coats=4), Done("shots", START, shots=500)]
    done += [Done("shots", START, shots=-450)]
    assert face(done, RULES).shots == 50


def test_no_part_stuck_leaves_the_interval_as_stated():
    found = interval(20, [Life(20, False)] * 3)
    assert (found.shots, found.chance) == (20, None)


def test_a_part_that_stuck_shortens_it_and_sound_cycles_bring_it_back():
    one = interval(20, [Life(15, True)])
    assert one.shots < 15
    assert one.chance.low < one.chance.middle < one.chance.high
    assert one.chance.middle >= 0.95
    assert "1 part has stuck in 1 run of coats" in one.words
    assert "an assumption without a source" in one.words
    two = interval(20, [Life(15, True), Life(14, True)])
    later = interval(20, [Life(15, True), *[Life(20, False)] * 200])
    assert two.shots <= one.shots + 4
    assert one.shots < later.shots <= 20


def test_an_interval_is_never_longer_than_stated():
    rng = random.Random(4)
    for _ in range(60):
        stated = rng.randint(1, 400)
        seen = [
            Life(rng.randint(1, 2 * stated), rng.random() < 0.4) for _ in range(rng.randint(1, 12))
        ]
        found = interval(stated, seen)
        assert 1 <= found.shots <= stated
    with pytest.raises(ValueError, match="it must be 1 to"):
        interval(0, [])


def test_coats_last_their_interval_as_often_as_said():
    """True lives of coats are Weibull, drawn by themselves; each tool has seen some cycles."""
    rng = random.Random(17)
    kept, count = 0, 0
    for _ in range(400):
        shape = rng.uniform(1.5, 4)
        scale = 100 * rng.uniform(0.7, 4)
        seen = []
        for _ in range(8):
            life = rng.weibullvariate(scale, shape)
            seen.append(Life(max(1, int(min(life, 100))), life < 100))
        if any(life.failed for life in seen):
            count += 1
            kept += rng.weibullvariate(scale, shape) >= interval(100, seen).shots
    assert count > 150
    assert kept / count >= 0.91  # 95 % less twice the standard error of some 200 draws
