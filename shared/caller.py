"""The request that is being answered, for what must know who is behind a change."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Any

_request: ContextVar[Any] = ContextVar("request", default=None)


def current_request() -> Any:
    """Return the request being answered, or nothing in a worker or a command."""
    return _request.get()


@contextmanager
def answering(request: Any) -> Iterator[None]:
    """Make a request the present one for the time of a block."""
    mark = _request.set(request)
    try:
        yield
    finally:
        _request.reset(mark)
