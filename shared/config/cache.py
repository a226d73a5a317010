"""The cache of a company: Redis, and the process's own memory while Redis is away."""

from __future__ import annotations

import logging
import time
from collections.abc import Callable
from typing import Any

from django.core.cache.backends.locmem import LocMemCache
from django.core.cache.backends.redis import RedisCache
from redis.exceptions import ConnectionError as Away
from redis.exceptions import TimeoutError as Silent

PAUSE_S = 5.0
"""How long nothing is asked of a Redis that did not answer, so that no call waits for it twice."""
log = logging.getLogger(__name__)


class RedisOrMemory(RedisCache):
    """
    A Redis that may go away.

    What is kept here is never needed to go on: counts of calls, and what a scale shows. Without
    Redis each process counts and keeps its own; what Redis held is asked again once it answers.
    """

    def __init__(self, server: Any, params: dict[str, Any]) -> None:
        super().__init__(server, params)
        self._own = LocMemCache("without-redis", {**params, "OPTIONS": {}})
        self._asked_again_at = 0.0

    def _either(self, name: str, *args: Any, **kwargs: Any) -> Any:
        ask: Callable[..., Any] = getattr(super(), name)
        if time.monotonic() >= self._asked_again_at:
            try:
                return ask(*args, **kwargs)
            except (Away, Silent) as error:
                self._asked_again_at = time.monotonic() + PAUSE_S
                log.warning("Redis does not answer; this process goes on by itself: %s", error)
        return getattr(self._own, name)(*args, **kwargs)

    def add(self, *args: Any, **kwargs: Any) -> Any:
        return self._either("add", *args, **kwargs)

    def get(self, *args: Any, **kwargs: Any) -> Any:
        return self._either("get", *args, **kwargs)

    def set(self, *args: Any, **kwargs: Any) -> Any:
        return self._either("set", *args, **kwargs)

    def touch(self, *args: Any, **kwargs: Any) -> Any:
        return self._either("touch", *args, **kwargs)

    def delete(self, *args: Any, **kwargs: Any) -> Any:
        return self._either("delete", *args, **kwargs)

    def get_many(self, *args: Any, **kwargs: Any) -> Any:
        return self._either("get_many", *args, **kwargs)

    def has_key(self, *args: Any, **kwargs: Any) -> Any:
        return self._either("has_key", *args, **kwargs)

    def incr(self, *args: Any, **kwargs: Any) -> Any:
        return self._either("incr", *args, **kwargs)

    def set_many(self, *args: Any, **kwargs: Any) -> Any:
        return self._either("set_many", *args, **kwargs)

    def delete_many(self, *args: Any, **kwargs: Any) -> Any:
        return self._either("delete_many", *args, **kwargs)

    def clear(self) -> Any:
        return self._either("clear")

    def answers(self) -> bool:
        """Tell whether Redis answers just now."""
        try:
            self._cache.get_client().ping()
        except (Away, Silent):
            return False
        return True
