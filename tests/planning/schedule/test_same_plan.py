"""The same week gives the same plan on SQLite and on PostgreSQL, byte for byte."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.servers import copy, fill_tables, postgres, short_folder, template

ROOT = Path(__file__).parents[3]


def plans(**env: str) -> list[str]:
    """Return problem and plan, then problem and plan a day later with a rush order."""
    kept = {k: v for k, v in os.environ.items() if k not in ("DATABASE_URL", "REDIS_URL")}
    settings = {"DJANGO_SETTINGS_MODULE": "shared.config.settings.dev"}
    done = subprocess.run(
        [sys.executable, "-m", "tests.planning.schedule.plan_twice"],
        env=kept | settings | env,
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr[-2000:]
    return done.stdout.split("\f")[:-1]


@pytest.mark.servers
def test_a_week_and_its_second_plan_are_the_same_on_both_databases():
    with short_folder() as folder:
        copy(template("tables", fill_tables), folder)
        lite = plans(SHOP_DATA=str(folder))
    with short_folder() as folder, postgres(migrated=True, durable=False) as url:
        large = plans(SHOP_DATA=str(folder), DATABASE_URL=url)
    assert len(lite) == 4
    for one, other in zip(lite, large, strict=True):
        assert one == other
    first, second = json.loads(lite[1]), json.loads(lite[3])
    assert first["batches"]
    assert first["batches"] != second["batches"]
    assert json.loads(lite[2])["previous"]["tasks"]
