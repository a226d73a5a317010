"""Sending a task to the worker by name, so that what asks for it need not import it."""

from __future__ import annotations

import logging
from typing import Any

from django.utils.module_loading import import_string
from kombu.exceptions import OperationalError

log = logging.getLogger(__name__)


def send(task: str, *args: Any) -> None:
    """
    Put a task into the worker's queue, if the broker can be reached.

    What waits is a row as well, and a task of the timetable finds it without the message.

    Parameters
    ----------
    task : str
        Its full name, such as ``planning.tasks.solve_week``.

    Raises
    ------
    ImportError
        When there is no such task.
    """
    try:
        import_string(task).delay(*args)
    except OperationalError as error:
        log.warning("%s waits for the timetable; the broker cannot be reached: %s", task, error)
