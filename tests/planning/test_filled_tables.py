"""Migrations run on a filled database and keep confirmed and begun work."""

import json
import os
import subprocess
import sys

import pytest

from tests.servers import ROOT, postgres


def migrated(tmp_path, **env):
    """Return what the tables say after old rows were carried through the migrations."""
    done = subprocess.run(
        [sys.executable, "-m", "tests.planning.filled_tables"],
        cwd=ROOT,
        env=os.environ | {"SHOP_DATA": str(tmp_path), "DATABASE_URL": ""} | env,
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
    )
    assert done.returncode == 0, done.stderr[-3000:]
    return json.loads(done.stdout.splitlines()[-1])


def keeps_everything(found):
    assert found["plans"] == [
        ["2026-W49", "replaced", "2026-11-30", "2026-11-30"],
        ["2026-W50", "confirmed", "2026-12-07", "2026-12-07"],
        ["2026-W49", "ready", "None", "None"],
    ]
    assert found["batches"] == [["B26-00001", "weighing", 1], ["B26-00002", "planned", 2]]
    assert found["route_steps"] == [
        ["0.1000 WAX m2", "0.5000 WAX tool", f"own {lost('3 of OLD-WAX')}"],
        [""],
    ]
    assert found["pour_steps"] == [
        ["0.5000 WAX in all", ""],
        ["0.2500 WAX in all", ""],
        [f"Mind the rim. {lost('3 of OLD-WAX, tape')}"],
    ]
    assert found["text_again"] == [
        [{"material": "WAX", "quantity": "0.5", "per": "tool"}],
        [{"material": "WAX", "quantity": "0.25", "per": "tool"}],
        [],
    ]

    lies, read = found["secret"]
    assert lies.startswith("sealed1:")
    assert read == "whsec_written_in_the_open"
    assert found["secret_again"] == [read, read], "going back opens it again"


def lost(words):
    return f"Also uses {words}; enter its material again."


def test_two_confirmed_weeks_on_sqlite(tmp_path):
    keeps_everything(migrated(tmp_path, DATABASE_URL=f"sqlite:///{tmp_path}/shop.sqlite3"))


@pytest.mark.servers
def test_two_confirmed_weeks_on_postgresql(tmp_path, monkeypatch):
    monkeypatch.delenv("DATABASE_URL", raising=False)
    with postgres(durable=False) as url:
        keeps_everything(migrated(tmp_path, DATABASE_URL=url))
