"""Sending a task to the worker by name, so that what asks for it need not import it."""

from __future__ import annotations

from typing import Any

from django.utils.module_loading import import_string


def send(task: str, *args: Any) -> None:
    """
    Put a task into the worker's queue.

    Parameters
    ----------
    task : str
        Its full name, such as ``planning.tasks.solve_week``.

    Raises
    ------
    ImportError
        When there is no such task.
    kombu.exceptions.OperationalError
        When the broker cannot be reached. What waits is a row as well, and a task of the
        timetable finds it without the message.
    """
    import_string(task).delay(*args)
