"""
A shop's year played day by day: one living plan against planning anew and earliest due first.

``python -m tests.benchmarks.bench_year [--weeks 52] [--pours 60] [--seconds 4] [--arms kept]``

A plan's seconds are of processor time, so that a year played beside other work is the same year.
"""

from __future__ import annotations

import argparse
import os
import sys
import time
from datetime import date
from typing import Any
from unittest import mock

FIRST = date(2026, 11, 30)


def play(arm: str, options: Any) -> Any:
    """Play one arm in a database of its own in memory."""
    from django.db import connection, transaction

    from tests.benchmarks.year.run import Year

    def tell(words: str) -> None:
        sys.stderr.write(f"{arm}: {words}\n")
        sys.stderr.flush()

    connection.creation.create_test_db(verbosity=0)
    with transaction.atomic():
        year = Year(FIRST, seed=options.seed, pours_a_week=options.pours,
                    seconds=options.seconds, arm=arm, tell=tell)  # fmt: skip
        with mock.patch("time.monotonic", time.process_time):
            year.run(options.weeks)
        transaction.set_rollback(True)
    return year


def row(arm: str, year: Any) -> str:
    """Return a row of the table: what an arm showed."""
    from tests.benchmarks.year.arms import ARMS

    tally, floor = year.tally, year.floor.tally
    moved = ", ".join(str(many) for _, many in sorted(tally.moved.items()))
    late = ", ".join(f"{m} {n:,}" for m, n in sorted(year.book.lateness(year.clock.now).items()))
    return (
        f"| {ARMS[arm]} | {tally.plans} | {len(tally.faults)} | {floor['refused on the floor']} "
        f"| {moved} | {late or '0'} | {floor['pours done']} of {len(year.book.pours)} "
        f"| {tally.plan_s / max(1, tally.plans):.1f} ({tally.slowest_s:.1f}) |"
    )


def main(arguments: list[str]) -> int:
    """Play what is asked and print a row for each arm."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--weeks", type=int, default=52)
    parser.add_argument("--pours", type=int, default=60)
    parser.add_argument("--seconds", type=float, default=4.0)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--arms", default="kept")
    options = parser.parse_args(arguments)
    os.environ["DJANGO_SETTINGS_MODULE"] = "shared.config.settings.test"
    import django

    django.setup()
    from django.test.utils import setup_test_environment

    setup_test_environment()
    rows: list[str] = []
    for arm in options.arms.split(","):
        year = play(arm, options)
        rows.append(row(arm, year))
        sys.stdout.write(f"{rows[-1]}\n{dict(year.tally.counts)}\n{dict(year.floor.tally)}\n")
        sys.stdout.write(f"{dict(year.events.tally)}\n")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
