"""What is known of the life of tools, against a numeric integral, simple cases and simulation."""

import math

import numpy as np
import pytest

from shop.core import life_posterior, weibull
from shop.core.life_posterior import against_stated, posterior
from shop.core.tool_life import Life, lives
from tests.benchmarks.bench_tool_life import measure

SOME = lives([30, 42, 42, 55, 18], [1, 0, 0, 1, 0])


def integral(history, stated, what):
    """The mean of `what(shape, scale)` by Gauss and Legendre, with scipy's distributions."""
    from scipy import stats

    shape_before = stats.norm(math.log(life_posterior.USUAL_SHAPE), life_posterior.SHAPE_SPREAD)
    median_before = stats.t(
        life_posterior.MEDIAN_TAIL, loc=math.log(stated), scale=life_posterior.MEDIAN_SPREAD
    )

    nodes, parts = np.polynomial.legendre.leggauss(90)
    log_shape = (-2.0 + 2.75 * (nodes + 1))[:, None]  # from -2 to 3.5
    log_scale = (math.log(stated) - 2.5 + 4.0 * (nodes + 1))[None, :]
    shape, scale = np.exp(log_shape), np.exp(log_scale)
    total = shape_before.logpdf(log_shape)
    total = total + median_before.logpdf(log_scale + math.log(math.log(2)) / shape)
    for life in history:
        chance = stats.weibull_min.logpdf if life.failed else stats.weibull_min.logsf
        total = total + chance(life.shots, shape, scale=scale)
    weights = np.exp(total) * parts[:, None] * parts[None, :]
    return float((weights * what(shape, scale)).sum() / weights.sum())


def test_chances_agree_with_a_numeric_integral():
    known = posterior(SOME, 60)
    wanted = integral(SOME, 60, lambda b, e: np.exp((20 / e) ** b - (45 / e) ** b))
    assert known.chance_of_more(20, 25).middle == pytest.approx(wanted, abs=2e-3)


def test_many_failures_leave_the_best_fit_and_its_errors():
    rng = np.random.default_rng(3)
    history = lives(300 * rng.weibull(2.2, 800), [1] * 800)
    known, fit = posterior(history, 100), weibull.fit(history)
    for spread, middle, error in (
        (known.shape(), fit.shape, fit.shape_error),
        (known.scale(), fit.scale, fit.scale_error),
    ):
        assert spread.middle == pytest.approx(middle, rel=0.01)
        assert spread.high - spread.low == pytest.approx(2 * 1.645 * error, rel=0.08)


def test_nothing_seen_leaves_what_was_stated():
    known = posterior([], 500)
    assert known.median_life().middle == pytest.approx(500, rel=0.03)
    assert known.basis == (
        "From no failure, 0 tools in service or retired sound, and a stated life of 500 shots."
    )


def test_every_sound_shot_makes_a_longer_life_likelier():
    kept = [posterior(lives([done] * 4, [0] * 4), 500).shots_left(done).kept for done in (1, 900)]
    chance = [posterior(lives([n] * 4, [0] * 4), 500).chance_of_more(0, 400).middle
              for n in (1, 300, 900)]  # fmt: skip
    assert chance == sorted(chance)
    assert min(kept) > 0


def test_shots_left_are_done_with_their_chance():
    known = posterior(SOME, 60)
    left = known.shots_left(20)
    for more, chance in (
        (left.low, 0.95),
        (left.kept, 0.9),
        (left.middle, 0.5),
        (left.high, 0.05),
    ):
        assert known.chance_of_more(20, more).middle == pytest.approx(chance, abs=1e-3)


def test_without_a_stated_life_the_failures_tell():
    known = posterior(SOME, None)
    assert known.basis.endswith("and no stated life.")
    assert known.scale().low < weibull.with_assumed_shape(SOME, 2).scale < known.scale().high


@pytest.mark.parametrize(
    ("history", "words"),
    [
        (lives([900] * 6, [0] * 6), "last longer than stated: with a life of 500 shots about"),
        (lives([40, 55, 70, 90], [1] * 4), "fail sooner than stated"),
        (lives([520, 470, 600, 300, 300], [1, 1, 1, 0, 0]), ""),
        (lives([10, 20], [0, 0]), ""),
        ([], ""),
    ],
)
def test_a_contradiction_is_said_and_only_where_there_is_one(history, words):
    found = against_stated(history, 500).words
    assert words in found
    assert bool(found) == bool(words)


def test_a_true_stated_life_is_seldom_doubted():
    rng = np.random.default_rng(8)
    doubted = 0
    for _ in range(400):
        shape = rng.uniform(1, 4)
        ends = 500 / math.log(2) ** (1 / shape) * rng.weibull(shape, 8)
        watched = 1000 * rng.uniform(0.1, 1, 8)
        history = lives(np.minimum(ends, watched), ends < watched)
        doubted += against_stated(history, 500).doubted
    assert doubted / 400 <= 0.1  # 5 % at either end


@pytest.mark.parametrize("history", [
    lives([1e6] * 3, [1] * 3), lives([1e-3], [0]), lives([50.0] * 60, [1] * 60),
    lives([1, 2, 3], [1, 1, 1]),
])  # fmt: skip
def test_odd_histories_are_borne(history):
    for stated in (60.0, 50_000.0):
        known = posterior(history, stated)
        for spread in (known.scale(), known.shape(), known.chance_of_more(3, 30)):
            assert 0 <= spread.low <= spread.high < math.inf
        left = known.shots_left(10)
        assert 0 <= left.low <= left.kept <= left.middle <= left.high


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: posterior([Life(5, False)], None), "no life is stated and no tool has failed"),
        (lambda: posterior([], 0), "stated life is 0 shots"),
        (lambda: against_stated([], -1), "stated life is -1 shots"),
        (lambda: posterior([], 9).chance_of_more(-1, 2), "done is -1"),
        (lambda: posterior([], 9).shots_left(-1), "done is -1"),
    ],
)
def test_nonsense_is_refused(call, words):
    with pytest.raises(ValueError, match=words):
        call()


@pytest.mark.parametrize(("size", "group"), [(3, "1"), (10, "2"), (30, "5-9"), (100, "10+")])
def test_ranges_hold_the_truth_over_simulated_fleets(size, group):
    """Short form of `tests/benchmarks/bench_tool_life.py`; four standard errors are allowed."""
    fleets = 250
    row = measure(size, group, fleets)
    slack = 4 * math.sqrt(0.9 * 0.1 / fleets)
    low = 0.87 - slack
    for name, share in row.covered.items():
        assert share >= low, name
    assert row.kept >= 0.86 - slack
    assert row.width_scale <= 1.0
