"""
Judge any plan against its problem, without the solver.

It shares no code with what makes plans, so that a mistake there cannot hide here. The rules and
their exact meaning stand in `planning.core.plan`.

Run ``python -m planning.core.check problem.json plan.json [--json]``: exit status 0 when every
rule is kept, 1 with the breaches on standard output, 2 when a file cannot be read.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TypeVar

from planning.core.checking.casting import check_batches, check_lifts
from planning.core.checking.lots import check_lots
from planning.core.checking.people import check_people
from planning.core.checking.places import check_mixers, check_places
from planning.core.checking.times import check_times
from planning.core.checking.view import RULES, View, Violation
from planning.core.checking.whole import check_whole
from planning.core.plain import FormError, dumps, loads
from planning.core.plan import Plan, Problem

__all__ = ["RULES", "Violation", "check", "main"]

T = TypeVar("T", Problem, Plan)


def check(problem: Problem, plan: Plan) -> list[Violation]:
    """
    Return every breach of the rules listed in `planning.core.plan`, none for a valid plan.

    Parameters
    ----------
    problem : Problem
        What was asked for.
    plan : Plan
        Any plan, however wrong: ids that are not in the problem are breaches, not exceptions.

    Returns
    -------
    list of Violation
        Ordered by rule as listed, then as found.
    """
    view = View(problem, plan)
    for judge in (
        check_whole,
        check_lifts,
        check_batches,
        check_times,
        check_people,
        check_mixers,
        check_places,
        check_lots,
    ):
        judge(view)
    return sorted(view.found, key=lambda violation: RULES.index(violation.rule))


def _read(kind: type[T], path: str) -> T:
    try:
        return loads(kind, Path(path).read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, FormError, RecursionError) as error:
        raise FormError(f"{path}: {error}") from error


def main(arguments: list[str] | None = None) -> int:
    """Judge a plan file and say what is wrong with it."""
    parser = argparse.ArgumentParser(prog="python -m planning.core.check")
    parser.description = "Judge a week plan against the rules, without the solver."
    parser.add_argument("problem", help="JSON form of planning.core.plan.Problem")
    parser.add_argument("plan", help="JSON form of planning.core.plan.Plan")
    parser.add_argument("--json", action="store_true", help="write the breaches as a JSON list")
    options = parser.parse_args(arguments)
    try:
        found = check(_read(Problem, options.problem), _read(Plan, options.plan))
    except FormError as error:
        sys.stderr.write(f"{error}\n")
        return 2
    if options.json:
        sys.stdout.write(dumps(found))
    else:
        for violation in found:
            sys.stdout.write(f"{violation.rule}: {violation.words}\n")
        sys.stdout.write(f"{len(found)} breaches\n" if found else "Every rule is kept.\n")
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
