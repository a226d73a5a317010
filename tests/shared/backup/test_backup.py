"""Copies of a whole shop: made, damaged, put back, compared row by row."""

import json
import os
import sqlite3
import subprocess
import sys
import zipfile
from contextlib import closing

import pytest

from shared.backup.restoring import shop_open
from tests.servers import ROOT, copy, fill_tables, short_folder, template

pytestmark = pytest.mark.servers
CLEAN = {k: v for k, v in os.environ.items() if k not in ("DATABASE_URL", "SECRET_KEY")}


def manage(data, *command, **env):
    """Run a command of the shop in a data folder; return its status and all that it printed."""
    settings = {"DJANGO_SETTINGS_MODULE": "shared.config.settings.dev", "SHOP_DATA": str(data)}
    done = subprocess.run(
        [sys.executable, str(ROOT / "manage.py"), *map(str, command)],
        env=CLEAN | settings | env, capture_output=True, text=True, timeout=300, check=False,
    )  # fmt: skip
    return done.returncode, done.stdout + done.stderr


def rows_of(data, read=lambda cell: cell):
    """Return every row of every table, read without the product, each cell through `read`."""
    with closing(sqlite3.connect(data / "shop.sqlite3")) as file:
        names = [r[0] for r in file.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
        return {
            name: sorted(
                repr(tuple(map(read, row))) for row in file.execute(f'SELECT * FROM "{name}"')
            )
            for name in names
        }


def files_of(data):
    return {
        str(file.relative_to(data)): file.read_bytes()
        for name in ("media", "authority")
        for file in sorted((data / name).rglob("*"))
        if file.is_file()
    }


@pytest.fixture(scope="module")
def demo():
    """Give the data folder of the invented shop, with a document, and a copy of it."""
    from tests.servers import _fill_demo

    with short_folder() as folder:
        data = folder / "shop"
        data.mkdir()
        copy(template("demo", _fill_demo), data)
        (data / "media" / "patterns").mkdir(parents=True)
        (data / "media" / "patterns" / "a b.stl").write_bytes(os.urandom(3_000_000))
        code, words = manage(data, "back_up", folder / "copy.zip")
        assert code == 0, words
        assert "the database and 1 files" in words
        yield data, folder / "copy.zip"


def test_what_is_put_back_is_the_same_in_every_row_and_byte(demo):
    data, file = demo
    assert file.stat().st_mode & 0o077 == 0
    with short_folder() as other:
        code, words = manage(other, "restore", file)
        assert code == 0, words
        assert "Stock agrees with the ledger" in words
        assert "the confirmed plan" in words
        assert rows_of(other) == rows_of(data)
        assert files_of(other) == files_of(data) != {}
        key = other / "secret_key"
        assert key.read_text() == (data / "secret_key").read_text()
        assert key.stat().st_mode & 0o077 == 0
        assert (other / "example-shop").exists()


def test_the_plan_gets_the_same_verdict_before_and_after(demo):
    _, file = demo
    with short_folder() as other, short_folder() as third:
        verdicts = []
        for folder, source in ((other, file), (third, other / "again.zip")):
            code, words = manage(folder, "restore", source)
            assert code == 0, words
            verdicts.append([x for x in words.splitlines() if "plan" in x or "  " in x])
            manage(folder, "back_up", folder / "again.zip")
        assert verdicts[0] == verdicts[1]
        assert rows_of(other) == rows_of(third)


def spoil(file, to, change):
    """Write a copy again with its members changed by `change(name, bytes)`."""
    with zipfile.ZipFile(file) as old, zipfile.ZipFile(to, "w") as new:
        for name in old.namelist():
            for kept, data in change(name, old.read(name)):
                new.writestr(kept, data)


def other_manifest(**changes):
    def change(name, data):
        if name == "manifest.json":
            data = json.dumps({**json.loads(data), **changes}).encode()
        yield name, data

    return change


def flipped(name, data):
    yield name, data[:5000] + bytes([data[5000] ^ 1]) + data[5001:] if "sqlite" in name else data


def without_documents(name, data):
    if not name.startswith("files/"):
        yield name, data


def outside(name, data):
    if name == "manifest.json":
        manifest = json.loads(data)
        manifest["parts"]["files/../../escaped"] = {"bytes": 1, "sha256": "0"}
        data = json.dumps(manifest).encode()
        yield "files/../../escaped", b"x"
    yield name, data


@pytest.mark.parametrize(
    ("change", "words"),
    [
        pytest.param(flipped, "differs from its checksum", id="a bit"),
        pytest.param(without_documents, "cannot be read as a copy", id="a file missing"),
        pytest.param(outside, "is no copy of a shop", id="a name outside"),
        pytest.param(other_manifest(format=9), "has format 9", id="format"),
        pytest.param(other_manifest(engine="postgresql"), "is no copy of a shop", id="engine"),
        pytest.param(
            other_manifest(migrations={"shop": ["9999_of_tomorrow"]}),
            "newer version (it has shop 9999_of_tomorrow)",
            id="newer",
        ),
    ],
)
def test_a_copy_that_is_not_whole_changes_nothing(demo, change, words):
    _, file = demo
    with short_folder() as folder, short_folder() as data:
        spoil(file, folder / "bad.zip", change)
        copy(template("tables", fill_tables), data)
        before = rows_of(data)
        code, said = manage(data, "restore", "--replace", folder / "bad.zip")
        assert code == 1
        assert words in said
        assert rows_of(data) == before
        assert not list(data.glob("replaced-*"))
        assert not (folder.parent / "escaped").exists()


@pytest.mark.parametrize("length", [0, 100, 200_000])
def test_half_a_file_is_refused(demo, length):
    _, file = demo
    with short_folder() as folder:
        (folder / "half.zip").write_bytes(file.read_bytes()[:length])
        code, said = manage(folder / "data", "restore", folder / "half.zip")
        assert code == 1
        assert "cannot be read as a copy of a shop" in said


def test_a_shop_that_is_there_is_refused_or_kept_aside(demo):
    data, file = demo
    with short_folder() as other:
        assert manage(other, "restore", file)[0] == 0
        with closing(sqlite3.connect(other / "shop.sqlite3")) as rows:
            rows.execute("UPDATE shared_site SET name = 'Spoilt'")
            rows.commit()
        (other / "media" / "later.txt").write_text("later")
        damaged, papers = rows_of(other), files_of(other)
        code, said = manage(other, "restore", file)
        assert (code, rows_of(other)) == (1, damaged)
        assert "add --replace" in said
        code, said = manage(other, "restore", "--replace", file)
        assert code == 0, said
        assert rows_of(other) == rows_of(data)
        assert files_of(other) == files_of(data)
        (kept,) = other.glob("replaced-*")
        assert rows_of(kept) == damaged
        assert files_of(kept) == papers


def test_nothing_is_put_back_under_an_open_shop(demo):
    _, file = demo
    with short_folder() as other:
        with shop_open(other):
            code, said = manage(other, "restore", file)
        assert code == 1
        assert "is open; close it" in said
        assert not (other / "shop.sqlite3").exists()
        assert manage(other, "restore", file)[0] == 0


def test_a_damaged_database_is_not_copied(demo):
    data, _ = demo
    with short_folder() as other:
        copy(data, other)
        with (other / "shop.sqlite3").open("r+b") as rows:
            size = (other / "shop.sqlite3").stat().st_size
            for at in range(200_000, size - 5000, 40_960):
                rows.seek(at)
                rows.write(b"\xff" * 4096)
        code, said = manage(other, "back_up", other / "x.zip")
        assert code == 1, said
        assert not (other / "x.zip").exists()
        assert not list(other.glob(".making-*"))


def test_a_copy_is_made_before_the_tables_of_a_shop_change(demo):
    data, _ = demo
    code = """
import django
django.setup()
from django.db import connection
from shared.management.commands.open_shop import Command
Command().copy_before_upgrade()
newest = "(SELECT max(name) FROM django_migrations WHERE app = 'shop')"
of_shop = "DELETE FROM django_migrations WHERE app = 'shop' AND name"
connection.cursor().execute(f"{of_shop} = {newest}")
Command().copy_before_upgrade()
"""
    with short_folder() as other:
        copy(data, other)
        env = {"SHOP_DATA": str(other), "DJANGO_SETTINGS_MODULE": "shared.config.settings.dev"}
        done = subprocess.run(
            [sys.executable, "-c", code], cwd=ROOT, env=CLEAN | env,
            capture_output=True, text=True, check=False,
        )  # fmt: skip
        assert done.returncode == 0, done.stderr
        (made,) = (other / "copies").glob("before-upgrade-*.zip")
        assert str(made) in done.stdout
