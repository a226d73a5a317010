"""Settings of a worker under test: its mail goes to the test, it dies where the test says."""

import os
import signal
from collections.abc import Callable
from contextlib import suppress
from datetime import datetime, timedelta
from pathlib import Path

from celery.signals import worker_process_init, worker_ready

from planning.reminders import kill_points
from shared.config.settings.dev import *  # noqa: F403

EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
EMAIL_HOST, EMAIL_PORT = "127.0.0.1", int(os.environ["TEST_MAIL_PORT"])
ORDERS = Path(os.environ["TEST_ORDERS"])


def die_when_told(point: str) -> None:
    """Kill the whole worker at once where the test has laid an order to; each order kills one."""
    with suppress(FileNotFoundError):
        (ORDERS / point).unlink()
        os.killpg(os.getpgid(0), signal.SIGKILL)


kill_points.listen(die_when_told)


@worker_ready.connect(weak=False)
def say_ready(**_: object) -> None:
    """Tell the test that this worker takes tasks."""
    (ORDERS.parent / f"ready-{os.getpid()}").touch()


@worker_process_init.connect(weak=False)
def set_clock(**_: object) -> None:
    """Let the worker live on another day, at the same pace, as far ahead as the test says."""
    from planning.reminders import sweep
    from shared import clock

    def read_clock() -> Callable[[], datetime]:
        ahead = timedelta(seconds=float((ORDERS.parent / "ahead_s").read_text()))
        return lambda: clock.now() + ahead

    sweep.database_clock = read_clock
