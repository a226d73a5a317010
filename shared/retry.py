"""Running a write again when the database broke it off to resolve a deadlock."""

from __future__ import annotations

import functools
import random
import time
from collections.abc import Callable
from typing import ParamSpec, TypeVar

from django.db import InterfaceError, OperationalError, connection, transaction

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


def is_away(error: BaseException) -> bool:
    """
    Tell whether PostgreSQL could not be reached, or was cut off in the middle of its work.

    Then nobody knows what became of a COMMIT under way. Class 08 is a connection's fault, 57P01
    to 57P03 a server that stops or starts (PostgreSQL documentation, appendix A); no code at all
    means that the server could not say anything.
    """
    cause = error.__cause__
    if not isinstance(error, OperationalError | InterfaceError) or cause is None:
        return False
    code = getattr(cause, "sqlstate", None)
    if not type(cause).__module__.startswith("psycopg"):
        return False
    return code is None or code.startswith("08") or code in {"57P01", "57P02", "57P03"}


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
