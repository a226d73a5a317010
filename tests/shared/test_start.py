"""What must hold for the service to start: settings, imports, migrations, headers, one command."""

import os
import re
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from pathlib import Path

import pytest
from django.core.exceptions import ImproperlyConfigured
from django.core.management import CommandError, call_command
from django.db import connection

from shared import append_only
from shared.config import environment
from shared.config.celery import timetable
from tests.servers import ROOT, free_port, short_folder

HEAVY = ("numpy", "pandas", "scipy", "ortools", "trimesh", "fpdf", "shapely", "matplotlib")


def run(code: str, **env: str) -> subprocess.CompletedProcess[str]:
    clean = {k: v for k, v in os.environ.items() if k in ("PATH", "HOME", "LANG")}
    return subprocess.run(
        [sys.executable, "-c", code],
        env={**clean, "PYTHONPATH": str(ROOT), **env},
        cwd=ROOT,
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )


def test_the_web_application_starts_without_heavy_libraries(tmp_path):
    """Each costs 0.1 to 1 s and 25 to 100 MB; they load inside the functions that need them."""
    code = (
        "from shared.config.wsgi import application; import sys;"
        "from django.urls import get_resolver; get_resolver().url_patterns;"
        f"print([m for m in {HEAVY!r} if m in sys.modules])"
    )
    done = run(code, SHOP_DATA=str(tmp_path), DJANGO_SETTINGS_MODULE="shared.config.settings.dev")
    assert done.stdout.strip() == "[]", done.stdout + done.stderr[-1000:]


@pytest.mark.parametrize(
    ("env", "words"),
    [
        ({}, "SECRET_KEY is not set. Give a long random text"),
        ({"SECRET_KEY": "x"}, "ALLOWED_HOSTS is not set. Give the names under which"),
        (
            {"SECRET_KEY": "x", "ALLOWED_HOSTS": "shop", "BEHIND_PROXY": "maybe"},
            "BEHIND_PROXY is 'maybe'; use 1 or 0.",
        ),
        (
            {"SECRET_KEY": "x", "ALLOWED_HOSTS": "shop", "EMAIL_PORT": "smtp"},
            "EMAIL_PORT is 'smtp'; use a whole number.",
        ),
    ],
)
def test_production_settings_fail_loudly(tmp_path, env, words):
    code = "import django; django.setup()"
    done = run(
        code, SHOP_DATA=str(tmp_path), DJANGO_SETTINGS_MODULE="shared.config.settings.base", **env
    )
    assert done.returncode == 1
    assert words in done.stderr


def test_an_installation_makes_its_own_secret_once(tmp_path):
    code = "from django.conf import settings; print(settings.SECRET_KEY)"
    env = {"SHOP_DATA": str(tmp_path), "DJANGO_SETTINGS_MODULE": "shared.config.settings.dev"}
    first, second = run(code, **env).stdout, run(code, **env).stdout
    assert first == second
    assert len(first.strip()) >= 60
    assert (tmp_path / "secret_key").stat().st_mode & 0o077 == 0


def test_settings_from_the_environment(monkeypatch):
    monkeypatch.setenv("A_LIST", "a, b,,c ")
    assert environment.words("A_LIST") == ["a", "b", "c"]
    with pytest.raises(ImproperlyConfigured, match=r"NOTHING is not set\. Give it"):
        environment.text("NOTHING", hint="Give it.")


@pytest.mark.servers
def test_migrations_lead_to_the_same_tables_and_triggers_as_the_models(db):
    """Tests build their tables from the models; a shop gets them by migrations."""
    with short_folder() as folder:
        env = {"SHOP_DATA": str(folder), "DJANGO_SETTINGS_MODULE": "shared.config.settings.dev"}
        code = (
            "import django; django.setup();"
            "from django.core.management import call_command;"
            "from django.db import connection as c;"
            "call_command('migrate', verbosity=0);"
            "call_command('makemigrations', check=True, dry_run=True, verbosity=0);"
            "print(sorted(c.introspection.table_names()));"
            "print(sorted(r[0] for r in c.cursor().execute("
            "\"SELECT name FROM sqlite_master WHERE type = 'trigger'\")))"
        )
        done = run(code, **env)
    tables, triggers = done.stdout.strip().splitlines(), None
    assert done.returncode == 0, done.stderr[-2000:]
    tables, triggers = map(eval, tables)
    ours = sorted(connection.introspection.table_names())
    assert [t for t in tables if t != "django_migrations"] == [
        t for t in ours if t != "django_migrations"
    ]
    for table in append_only.TABLES:
        assert f"{table}_no_update" in triggers, table
        assert f"{table}_no_delete" in triggers, table


def test_the_timetable_names_tasks_that_exist():
    from shared.config import celery_app

    celery_app.loader.import_default_modules()
    entries = timetable()
    assert len(entries) >= 4
    for name, entry in entries.items():
        assert entry["task"] in celery_app.tasks, name


def test_pages_may_load_only_from_here(client, db):
    response = client.get("/sign-in/")
    policy = response["Content-Security-Policy"]
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy.replace("'wasm-unsafe-eval'", "")
    assert "frame-ancestors 'none'" in policy
    assert response["X-Frame-Options"] == "DENY"
    assert response["X-Content-Type-Options"] == "nosniff"
    assert response["Referrer-Policy"] == "same-origin"
    assert not re.search(
        rb"<script(?![^>]*src=)[^>]*>|style=|https?://(?!testserver)", response.content
    )


def test_only_the_page_that_describes_the_api_may_style_itself(client, db):
    docs = client.get("/api/v1/")
    assert "style-src 'self' 'unsafe-inline'" in docs["Content-Security-Policy"]
    assert "script-src 'self' 'wasm-unsafe-eval';" in docs["Content-Security-Policy"]
    assert b"<script>" not in docs.content
    other = client.get("/api/v1/sites")
    assert "unsafe-inline" not in other["Content-Security-Policy"]
    assert other["Cache-Control"] == "private, no-store"


def test_a_request_has_a_name_and_keeps_the_callers(client, db):
    first, second = (client.get("/livez")["X-Request-Id"] for _ in range(2))
    assert first != second
    assert client.get("/livez", headers={"X-Request-Id": "from-outside-7"})["X-Request-Id"] == (
        "from-outside-7"
    )
    hostile = client.get("/livez", headers={"X-Request-Id": "a b\tc<script>"})["X-Request-Id"]
    assert re.fullmatch("[0-9a-f]{32}", hostile)


def test_health_says_which_part_fails_and_nothing_else(client, db, monkeypatch):
    assert client.get("/livez").content == b"ok\n"
    body = client.get("/readyz").json()
    assert body["database"] == body["disk"] == "ok"
    assert set(body.values()) <= {"ok", "failing"}
    monkeypatch.setattr("shared.config.health.LEAST_FREE_BYTES", 10**20)
    response = client.get("/readyz")
    assert (response.status_code, response.json()["disk"]) == (503, "failing")


def test_a_port_that_is_taken_is_said_with_one_that_is_free(db):
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        with pytest.raises(CommandError, match=rf"Port {port} is taken.*--port \d+$"):
            call_command("open_shop", port=port)
    with pytest.raises(CommandError, match="it must be 1 to 65535"):
        call_command("open_shop", port=70000)


@pytest.mark.servers
@pytest.mark.parametrize(
    ("given", "number", "words"),
    [
        ([], signal.SIGINT, "Invented people; the password of each is"),
        (
            ["--empty"],
            signal.SIGTERM,
            "Nobody can sign in yet: the first page lets you found your shop.",
        ),
    ],
)
def test_one_command_opens_the_shop_and_one_signal_closes_it(given, number, words):
    with short_folder() as folder:
        clean = {k: v for k, v in os.environ.items() if k in ("PATH", "HOME", "LANG")}
        port = free_port()
        shop = subprocess.Popen(
            [sys.executable, "manage.py", "open_shop", "--port", str(port), *given],
            env={**clean, "SHOP_DATA": str(folder)},
            cwd=ROOT,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            start_new_session=True,
        )
        try:
            said = read_until(shop, "Stop it with Ctrl-C", 300)
            assert f"http://127.0.0.1:{port}/" in said
            assert words in said
            assert ("You open the shop as root" in said) == (os.geteuid() == 0)
            assert "WARNING" not in said.upper()
            with urllib.request.urlopen(f"http://127.0.0.1:{port}/sign-in/", timeout=30) as page:
                text = page.read().decode()
            style = re.search(r'href="(/bundles/[^"]+\.css)"', text)[1]
            with urllib.request.urlopen(f"http://127.0.0.1:{port}{style}", timeout=30) as sheet:
                assert sheet.status == 200
            children = children_of(shop.pid)
            assert len(children) >= 2
            shop.send_signal(number)
            rest, _ = shop.communicate(timeout=60)
        finally:
            if shop.poll() is None:
                shop.kill()
        assert shop.returncode == 0, rest
        assert "Closed." in rest
        assert [pid for pid in children if Path(f"/proc/{pid}").exists()] == []


def read_until(process: subprocess.Popen[str], words: str, seconds: float) -> str:
    said, deadline = "", time.monotonic() + seconds
    while words not in said:
        line = process.stdout.readline()
        assert line, f"ended early: {said}"
        assert time.monotonic() < deadline, said
        said += line
    return said


def children_of(pid: int) -> list[int]:
    found = []
    for entry in Path("/proc").glob("[0-9]*/stat"):
        try:
            fields = entry.read_text().rpartition(")")[2].split()
        except OSError:
            continue
        if int(fields[1]) == pid:
            found.append(int(entry.parent.name))
    return found
