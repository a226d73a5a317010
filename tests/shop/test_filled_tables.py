"""Migrations run on a filled database and keep its data."""

import json
import os
import subprocess
import sys

import pytest

from tests.servers import ROOT, postgres


def migrated(tmp_path, **env):
    """Return what the tables say after old rows were carried through the migrations."""
    done = subprocess.run(
        [sys.executable, "-m", "tests.shop.filled_tables"],
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
    assert found["uses"] == [
        "supplier:unknown", "batch:1", "other:Pot 7, the blue one", "other:coat:9",
        "other:waste of batch 3", "other:waste of batch 3",
    ]  # fmt: skip
    assert found["differences"] == []
    assert found["lots"] == [["L1", "held", "2026-11-01", 2]]
    assert found["refused"] == [True, True]


def test_on_sqlite(tmp_path):
    keeps_everything(migrated(tmp_path, DATABASE_URL=f"sqlite:///{tmp_path}/shop.sqlite3"))


@pytest.mark.servers
def test_on_postgresql(tmp_path, monkeypatch):
    monkeypatch.delenv("DATABASE_URL", raising=False)
    with postgres(durable=False) as url:
        keeps_everything(migrated(tmp_path, DATABASE_URL=url))
