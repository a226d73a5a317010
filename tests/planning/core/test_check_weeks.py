"""Hand-made valid weeks break no rule; what the check imports and how it is run from a shell."""

import json
import subprocess
import sys
import time
from dataclasses import replace

import pytest

from planning.core.check import Violation, check, main
from planning.core.plain import dumps
from planning.core.plan import Plan
from tests.planning.core import weeks

PROBLEM_FILE, PLAN_FILE = "problem.json", "plan.json"


@pytest.mark.parametrize("week", weeks.WEEKS.values(), ids=weeks.WEEKS)
def test_hand_made_valid_week_breaks_no_rule(week):
    assert check(*week()) == []


@pytest.fixture
def files(tmp_path):
    load, plan = weeks.shared()
    (tmp_path / PROBLEM_FILE).write_text(dumps(load))
    (tmp_path / PLAN_FILE).write_text(dumps(plan))
    return tmp_path


def test_shell_says_that_every_rule_is_kept(files, capsys):
    assert main([str(files / PROBLEM_FILE), str(files / PLAN_FILE)]) == 0
    assert capsys.readouterr().out == "Every rule is kept.\n"


def test_shell_prints_breaches_as_text_and_as_json(files, capsys):
    _, plan = weeks.shared()
    (files / PLAN_FILE).write_text(dumps(replace(plan, stands=plan.stands[:1])))
    arguments = [str(files / PROBLEM_FILE), str(files / PLAN_FILE)]
    assert main(arguments) == 1
    assert capsys.readouterr().out.splitlines() == [
        "place: Pour Q has 0 stands; it needs exactly one.",
        "1 breaches",
    ]
    assert main([*arguments, "--json"]) == 1
    assert json.loads(capsys.readouterr().out) == [
        {"rule": "place", "subjects": ["Q"], "words": "Pour Q has 0 stands; it needs exactly one."}
    ]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        pytest.param("{", "Not JSON", id="not JSON"),
        pytest.param('{"lifts": [{"pour": 3}]}', "lifts[0].pour: expected str", id="wrong type"),
        pytest.param('{"lift": []}', "unknown field 'lift'", id="misspelt field"),
        pytest.param("[" * 100_000, "plan.json: ", id="nested too deep"),
    ],
)
def test_shell_names_the_place_of_unreadable_input(files, capsys, text, words):
    (files / PLAN_FILE).write_text(text)
    assert main([str(files / PROBLEM_FILE), str(files / PLAN_FILE)]) == 2
    error = capsys.readouterr().err
    assert words in error
    assert PLAN_FILE in error


def test_shell_names_a_missing_file(files, capsys):
    assert main([str(files / "none.json"), str(files / PLAN_FILE)]) == 2
    assert "none.json" in capsys.readouterr().err


def test_check_loads_neither_solver_nor_framework():
    code = (
        "import sys, planning.core.check; "
        "print([m for m in sys.modules if m.startswith('planning')]); "
        "print([m for m in sys.modules if m.split('.')[0] in "
        "('django', 'ortools', 'numpy', 'scipy', 'celery', 'rest_framework')])"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    ours, others = (set(eval(line)) for line in run.stdout.splitlines())
    assert others == set()
    checking = {m for m in ours if m.startswith("planning.core.check")}
    allowed = {"planning", "planning.core"} | {
        f"planning.core.{name}" for name in ("plain", "problem", "plan")
    }
    assert ours - checking == allowed


def test_a_week_of_500_pours_is_judged_in_well_under_a_second():
    load, plan = _many(500)
    began = time.process_time()
    found = check(load, plan)
    assert time.process_time() - began < 1
    assert {violation.rule for violation in found} == {"figures", "lot_mass"}


def _many(count):
    """Lay out copies of the week of one pour side by side, each with its own crew and bench."""
    load, one = weeks.single()
    ann, mixer, bench, pour = load.people[0], load.mixers[0], load.places[0], load.pours[0]
    ids = [f"{n:03d}" for n in range(count)]
    load = replace(
        load,
        people=tuple(replace(ann, id=i) for i in ids),
        mixers=tuple(replace(mixer, id=i) for i in ids),
        places=tuple(replace(bench, id=i) for i in ids),
        pours=tuple(replace(pour, id=i) for i in ids),
    )
    portion = one.batches[0].portions[0]
    plan = Plan(
        lifts=tuple(replace(one.lifts[0], pour=i) for i in ids),
        batches=tuple(
            replace(
                one.batches[0], id=i, mixer=i, people=(i,), portions=(replace(portion, pour=i),)
            )
            for i in ids
        ),
        tasks=tuple(replace(t, pour=i, people=(i,)) for i in ids for t in one.tasks),
        stands=tuple(replace(one.stands[0], pour=i, place=i) for i in ids),
    )
    return load, plan


def test_breaches_come_in_the_order_of_the_rules():
    load, plan = weeks.single()
    found = check(load, replace(plan, stands=(), batches=()))
    assert found[0] == Violation(
        "lift_mass", ("P",), "Lift 0 of pour P takes 10 kg; its portions add up to 0 kg."
    )
    assert [violation.rule for violation in found] == ["lift_mass", "place", "figures", "figures"]
