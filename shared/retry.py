"""Running a write again when the database broke it off to resolve a deadlock."""

from __future__ import annotations

import functools
import random
import time
from collections.abc import Callable
from typing import ParamSpec, TypeVar

from django.db import OperationalError, connection, transaction

from shared.errors import ShopError

P = ParamSpec("P")
R = TypeVar("R")

TRIES = 6
"""The first and at most five more."""

RETRY_CODES = frozenset({"40001", "40P01"})
"""Serialisation failure and deadlock: PostgreSQL asks to run the whole transaction again."""


def is_passing(error: OperationalError) -> bool:
    """Tell whether the same transaction may succeed if it is run again."""
    code = getattr(error.__cause__, "sqlstate", None)
    return code in RETRY_CODES or "database is locked" in str(error)


def retried(write: Callable[P, R]) -> Callable[P, R]:
    """
    Run a write in a transaction of its own, again if the database broke it off.

    Inside a transaction that is already open the write just joins it: only the outermost caller
    can begin again.
    """

    @functools.wraps(write)
    def run(*args: P.args, **kwargs: P.kwargs) -> R:
        if connection.in_atomic_block:
            with transaction.atomic():
                return write(*args, **kwargs)
        for attempt in range(TRIES):
            try:
                with transaction.atomic():
                    return write(*args, **kwargs)
            except OperationalError as error:
                if not is_passing(error):
                    raise
                time.sleep(random.uniform(0, 0.02 * 2**attempt))
        raise ShopError("The database is busy; try again in a moment.", "busy", 503)

    return run
