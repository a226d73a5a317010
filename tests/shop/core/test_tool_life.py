"""Every row of the tool-life cases, and what a tool keeper asks of the figures."""

import csv

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shop.core import tool_life, weibull
from shop.core.tool_life import Life, SurvivalStep, lives
from shop.core.weibull import Weibull
from tests.reference_cases import CASES, params, rows

AT = (6, 7, 10, 13, 16, 22, 23)  # the times the Kaplan-Meier rows give figures for


def _history(i):
    if "dataset" in i:
        with (CASES / "waltons.csv").open(encoding="utf-8", newline="") as file:
            data = [(float(r["T"]), r["E"] == "1") for r in csv.DictReader(file)]
        assert (len(data), sum(e for _, e in data)) == (i["n"], i["failures"])
        return tuple(Life(t, e) for t, e in data)
    if "failures" in i:
        return lives(i["failures"], [1] * len(i["failures"])) + lives(
            i["right_censored"], [0] * len(i["right_censored"])
        )
    return lives(i["time"], i["event"])


def _steps(name):
    def answer(i):
        steps = tool_life.survival_steps(_history(i))
        return [getattr(tool_life.step_at(steps, t), name) for t in AT]

    return answer


def _logrank(i):
    found = tool_life.compare(_history(i), lives(i["time2"], [1] * len(i["time2"])))
    assert found.p_value == pytest.approx(4.2e-5, rel=0.02)  # chi-square 16.79, 1 degree
    return [found.chi_square, found.expected_first]


def _fit(i):
    found = weibull.fit(_history(i))
    return [found.shape, found.scale]


def _fit_errors(i):
    found = weibull.fit(_history(i))
    return [found.shape_error, found.scale_error]


def _life(i):
    return Weibull(i["shape"], i["scale"])


ANSWERS = {
    "km_6mp": _steps("survival"),
    "km_6mp_se": _steps("standard_error"),
    "km_6mp_tie": _steps("at_risk"),
    "km_6mp_median": lambda i: tool_life.median_life(tool_life.survival_steps(_history(i))),
    "na_6mp": lambda i: tool_life.survival_steps(_history(i))[-1].cumulative_hazard,
    "km_6mp_rmst": lambda i: tool_life.mean_life_to(
        tool_life.survival_steps(_history(i)), i["limit"]
    ),
    "exp_6mp": lambda i: list(tool_life.constant_rate(_history(i))),
    "exp_nist": lambda i: tool_life.constant_rate(_history(i))[1],
    "logrank": _logrank,
    "weib_6mp": _fit,
    "weib_6mp_se": _fit_errors,
    "weib_bearing": _fit,
    "weib_bearing_ll": lambda i: weibull.fit(_history(i)).log_likelihood,
    "weib_b10": lambda i: _life(i).life_at(0.9),
    "weib_mean": lambda i: _life(i).mean(),
    "weib_b22": _fit,
    "weib_nist": _fit,
    "rank_nist": lambda i: list(weibull.rank_regression(_history(i))),
    "weib_waltons": _fit,
    "weib_auto": _fit,
    "zero_fail": lambda i: tool_life.mean_life_bound(
        i["total_pours"], i["failures"], i["confidence"]
    ),
    "two_fail": lambda i: tool_life.mean_life_bound(
        i["total_pours"], i["failures"], i["confidence"]
    ),
    "weibayes": lambda i: weibull.with_assumed_shape(_history(i), i["shape"]).scale,
    "cond_rel": lambda i: _life(i).chance_of_more(i["done"], i["more"]),
    "mrl": lambda i: _life(i).mean_more(i["done"]),
    "trap_drop": _fit,
    "trap_allfail": _fit,
}


@pytest.mark.parametrize("case", params("tool_life_checks.csv", *ANSWERS))
def test_reference_rows(case):
    case.check(ANSWERS[case.id](case.inputs))


def test_every_row_of_the_table_is_checked():
    assert {c.id for c in rows("tool_life_checks.csv")} == set(ANSWERS)


def test_dropping_sound_tools_or_calling_them_failed_shortens_the_life_wrongly():
    by_id = {c.id: c for c in rows("tool_life_checks.csv")}
    right, dropped, failed = (
        weibull.fit(_history(by_id[row].inputs)).mean()
        for row in ("weib_6mp", "trap_drop", "trap_allfail")
    )
    assert dropped < 0.5 * right
    assert failed < 0.6 * right


def random_history(seed):
    """Weibull lives of 8 to 60 tools, each watched to a time of its own."""
    rng = np.random.default_rng(seed)
    n, shape = int(rng.integers(8, 61)), rng.uniform(0.7, 5.0)
    ends = rng.uniform(20, 4000) * rng.weibull(shape, n)
    watched = np.quantile(ends, rng.uniform(0.4, 1.0)) * rng.uniform(0.3, 1.5, n)
    return lives(np.minimum(ends, watched), ends <= watched)


@pytest.mark.parametrize("seed", range(20))
def test_fits_of_random_sets_agree_with_a_general_library(seed):
    """scipy.stats fits right-censored data by a search of its own over the same likelihood."""
    from scipy import optimize, stats

    history = random_history(seed)
    data = stats.CensoredData(
        [x.shots for x in history if x.failed], right=[x.shots for x in history if not x.failed]
    )

    def close(f, start, args=(), disp=0):
        return optimize.fmin(f, start, args=args, xtol=1e-9, ftol=1e-12, maxiter=5000, disp=0)

    shape, _, scale = stats.weibull_min.fit(data, floc=0, optimizer=close)
    found = weibull.fit(history)
    assert (found.shape, found.scale) == pytest.approx((shape, scale), rel=1e-4)


@pytest.mark.parametrize("seed", range(5))
def test_the_band_round_the_steps_agrees_with_a_general_library(seed):
    from scipy import stats

    history = random_history(seed)
    data = stats.CensoredData(
        [x.shots for x in history if x.failed], right=[x.shots for x in history if not x.failed]
    )
    theirs = stats.ecdf(data).sf.confidence_interval(0.9, method="log-log")
    for step in tool_life.survival_steps(history):
        low, high = tool_life.band(step, 0.9)
        if 0 < step.survival < 1:
            assert low == pytest.approx(float(theirs.low.evaluate(step.shots)), abs=1e-9)
            assert high == pytest.approx(float(theirs.high.evaluate(step.shots)), abs=1e-9)
        else:
            assert (low, high) == (0.0, 1.0)


@given(st.floats(0.6, 5), st.floats(10, 500), st.floats(0, 400), st.floats(0.05, 0.95))
def test_shots_left_at_a_chance_are_lasted_with_that_chance(shape, scale, done, chance):
    life = Weibull(shape, scale)
    more = life.more_at(done, chance)
    assert more >= 0
    if (done / scale) ** shape < 1e4:
        assert life.chance_of_more(done, more) == pytest.approx(chance, rel=1e-6)


@pytest.mark.parametrize(("shape", "done"), [(1.0, 90.0), (2.0, 40.0), (0.8, 200.0), (3.5, 10.0)])
def test_mean_further_shots_agree_with_a_numeric_integral(shape, done):
    from scipy.integrate import quad

    life = Weibull(shape, 60.0)
    integral, _ = quad(lambda x: life.chance_of_more(done, x), 0, 5000, limit=400)
    assert life.mean_more(done) == pytest.approx(integral, rel=1e-6)


def test_the_far_tail_joins_the_exact_formula():
    below, above = Weibull(2.0, 10.0).mean_more(223.6), Weibull(2.0, 10.0).mean_more(223.7)
    assert above == pytest.approx(below, rel=1e-3)
    assert Weibull(2.0, 10.0).mean_more(2000.0) > 0


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: Life(0, True), "shots is 0"),
        (lambda: weibull.fit(lives([5, 5], [1, 1])), "2 failures at 1 different"),
        (lambda: weibull.with_assumed_shape(lives([5], [0]), 2), "no tool has failed"),
        (lambda: weibull.with_assumed_shape(lives([5], [1]), 0), "shape is 0"),
        (lambda: tool_life.constant_rate(lives([5], [0])), "no tool has failed"),
        (lambda: tool_life.mean_life_bound(0, 0, 0.9), "total_shots is 0"),
        (lambda: tool_life.mean_life_bound(5, 0, 1.5), "confidence is 1.5"),
        (lambda: tool_life.compare(lives([5], [0]), lives([6], [0])), "nothing to compare"),
        (lambda: Weibull(2, 60).life_at(1.0), "survival is 1.0"),
        (lambda: Weibull(2, 60).more_at(1.0, 0.0), "chance is 0.0"),
        (lambda: tool_life.band(SurvivalStep(5, 9, 1, 0.9, 0.1, 0.1), 1.0), "confidence is 1.0"),
    ],
)  # fmt: skip
def test_nonsense_is_refused_with_its_value(call, words):
    with pytest.raises(ValueError, match=words):
        call()
