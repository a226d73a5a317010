"""The whole shop in one open archive: out of one database, into another, equal row by row."""

import json
import os
import zipfile
from contextlib import suppress

import pytest

from shared.backup.rows import OF_THE_INSTALLATION, SECRETS, tables
from tests.servers import _fill_demo, copy, fill_tables, postgres, short_folder, template
from tests.shared.backup.test_backup import files_of, manage, rows_of

pytestmark = pytest.mark.servers
PASSWORD = {"SHOP_ADMIN_PASSWORD": "a long own password"}
LEFT_OUT = {label.lower().replace(".", "_") for label in OF_THE_INSTALLATION} | {
    "django_migrations", "sqlite_sequence", "django_content_type", "django_session",
}  # fmt: skip


@pytest.fixture(scope="module")
def demo():
    """Give the data folder of the invented shop, with a document, and its archive."""
    with short_folder() as folder:
        data = folder / "shop"
        data.mkdir()
        copy(template("demo", _fill_demo), data)
        (data / "media" / "patterns").mkdir(parents=True)
        (data / "media" / "patterns" / "a b.stl").write_bytes(os.urandom(1_000_000))
        code, words = manage(data, "write_archive", folder / "shop.zip")
        assert code == 0, words
        yield data, folder / "shop.zip"


@pytest.fixture
def other():
    """Give a data folder with a database of today's tables and nothing in it."""
    with short_folder() as folder:
        copy(template("tables", fill_tables), folder)
        yield folder


def in_order(cell):
    """Return a cell; where it is JSON its members in one order, in which nothing is said."""
    if isinstance(cell, str) and cell[:1] in ("{", "["):
        with suppress(ValueError):
            return json.dumps(json.loads(cell), sort_keys=True)
    return cell


def verdicts(words):
    return [x for x in words.splitlines() if "confirmed plan" in x or x.startswith("  ")]


def parts_of(file):
    """Return the lines of each table and the bytes of each document."""
    with zipfile.ZipFile(file) as archive:
        return {
            name: archive.read(name).splitlines() if name.endswith("l") else archive.read(name)
            for name in archive.namelist()
            if name.startswith(("tables/", "documents/patterns"))
        }


def test_no_password_token_or_secret_is_in_it(demo):
    _, file = demo
    parts = parts_of(file)
    people = [json.loads(line) for line in parts["tables/shared.User.jsonl"]]
    assert len(people) == 7
    assert not any("password" in person for person in people)
    for label in OF_THE_INSTALLATION:
        assert f"tables/{label}.jsonl" not in parts
    hidden = {name.rpartition(".")[2] for name in SECRETS} | {"secret", "webhook_secret"}
    for name, rows in parts.items():
        if name.startswith("tables/") and rows:
            assert not hidden & set(json.loads(rows[0])), name


def test_read_into_sqlite_every_row_and_document_is_the_same(demo):
    data, file = demo
    with short_folder() as other:
        code, words = manage(other, "read_archive", file, "--admin", "ada", **PASSWORD)
        assert code == 0, words
        assert "Stock agrees with the ledger" in words
        before, after = rows_of(data, in_order), rows_of(other, in_order)
        for name in sorted(set(before) - LEFT_OUT):
            if name == "shared_user":
                assert len(after[name]) == len(before[name])
                continue
            if name.startswith(("axes_", "auth_")):
                continue
            assert after[name] == before[name], name
        assert sum(len(rows) for rows in before.values()) > 1000
        document = "media/patterns/a b.stl"
        assert files_of(other)[document] == files_of(data)[document]
        code, told = manage(data, "back_up", other / "copy.zip")
        assert code == 0, told
        with short_folder() as third:
            code, told = manage(third, "restore", other / "copy.zip")
            assert code == 0, told
        assert verdicts(words) == verdicts(told) != []
        code, words = manage(other, "read_archive", file, "--admin", "ada", **PASSWORD)
        assert code == 1
        assert "There is a shop here already" in words


def test_read_into_postgres_and_written_again_it_is_the_same_archive(demo):
    _, file = demo
    with short_folder() as folder, postgres(migrated=True, durable=False) as url:
        env = {"DATABASE_URL": url}
        code, words = manage(folder, "read_archive", file, "--admin", "ada", **env, **PASSWORD)
        assert code == 0, words
        assert "Stock agrees with the ledger" in words
        code, told = manage(folder, "write_archive", folder / "again.zip", **env)
        assert code == 0, told
        assert parts_of(folder / "again.zip") == parts_of(file)
        # New rows get numbers that are free, and what is only added stays so.
        code, told = manage(folder, "access_token", "ada", **env)
        assert code == 0, told
        import psycopg

        with psycopg.connect(url) as rows, pytest.raises(psycopg.Error, match="append"):
            rows.execute("DELETE FROM shop_movement")
        with short_folder() as other:
            code, back = manage(
                other, "read_archive", folder / "again.zip", "--admin", "ada", **PASSWORD
            )
            assert code == 0, back
            assert verdicts(back) == verdicts(words)


def spoil(file, to, change):
    """Write an archive in which `change(name, data)` returns what stands in its parts."""
    with zipfile.ZipFile(file) as source, zipfile.ZipFile(to, "w") as target:
        for name in source.namelist():
            for kept, data in change(name, source.read(name)):
                target.writestr(kept, data)


def manifest(**changes):
    def change(name, data):
        if name == "manifest.json":
            data = json.dumps(json.loads(data) | changes)
        return [(name, data)]

    return change


def outside(name, data):
    if name.startswith("documents/"):
        return [("documents/../../evil", data)]
    if name == "manifest.json":
        told = json.loads(data)
        told["parts"] = {
            "documents/../../evil" if n.startswith("documents/") else n: one
            for n, one in told["parts"].items()
        }
        return [(name, json.dumps(told))]
    return [(name, data)]


def one_row(name, data):
    """Change one row of the materials, and leave the checksum."""
    return [(name, data.replace(b"Paste wax", b"Haste wax") if "Material" in name else data)]


def bomb(name, data):
    extra = [("documents/big", bytes(60_000_000))] if name == "README.txt" else []
    return [(name, data), *extra]


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (manifest(format="other"), "another format"),
        (manifest(migrations={}), "another version"),
        (manifest(parts={}), "names other parts"),
        (outside, "it has a part 'documents/../../evil'"),
        (one_row, "differs from its checksum"),
        (lambda n, d: [] if n.endswith("shop.Lot.jsonl") else [(n, d)], "names other parts"),
        (bomb, "names other parts"),
    ],
    ids=["format", "version", "no parts", "path", "row", "table", "document"],
)  # fmt: skip
def test_a_hostile_or_damaged_archive_changes_nothing(demo, other, change, words):
    _, file = demo
    spoil(file, other / "bad.zip", change)
    code, told = manage(other, "read_archive", other / "bad.zip", "--admin", "ada", **PASSWORD)
    assert code == 1
    assert words in told
    assert rows_of(other)["shared_site"] == []
    assert not (other / "media").exists() or not any((other / "media").iterdir())


def test_a_bomb_is_refused_by_its_table_of_contents(other):
    with zipfile.ZipFile(other / "bomb.zip", "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("manifest.json", "{}")
        archive.writestr("documents/big", bytes(120_000_000))
    code, told = manage(other, "read_archive", other / "bomb.zip", "--admin", "ada", **PASSWORD)
    assert code == 1
    assert "too much for it" in told


@pytest.mark.parametrize(
    ("admin", "password", "words"),
    [("nobody", "a long own password", "its administrators are: ada"), ("ada", "123", "password")],
)
def test_somebody_must_be_able_to_sign_in(demo, other, admin, password, words):
    _, file = demo
    code, told = manage(
        other, "read_archive", file, "--admin", admin, SHOP_ADMIN_PASSWORD=password
    )
    assert code == 1
    assert words in told
    assert rows_of(other)["shared_site"] == []


def test_every_table_is_the_shops_or_left_out_by_name():
    labels = {model._meta.label for model in tables()}
    assert not labels & OF_THE_INSTALLATION
    assert {"shop.Movement", "planning.WeekPlan", "planning.Batch_people"} <= labels
