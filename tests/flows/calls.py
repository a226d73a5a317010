"""A plain HTTP client for stories, with what an outside program has; answers are judged."""

from __future__ import annotations

import json
import time
import urllib.error
import urllib.request
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any
from uuid import uuid4

from tests.closed import check


@dataclass
class Client:
    """Calls one shop with one token."""

    url: str
    token: str

    def call(
        self, method: str, path: str, body: Any = None, *, key: str | None = None
    ) -> tuple[int, Any]:
        """Return status and answer; POSTs carry a key, fresh unless given."""
        headers = {"Authorization": f"Bearer {self.token}", "Accept": "application/json"}
        data = None
        if body is not None:
            data = json.dumps(body).encode()
            headers["Content-Type"] = "application/json"
        if method == "POST":
            headers["Idempotency-Key"] = key or str(uuid4())
        request = urllib.request.Request(
            f"{self.url}/api/v1/{path}", data=data, headers=headers, method=method
        )
        try:
            with urllib.request.urlopen(request, timeout=60) as answer:
                return self._read(request, answer)
        except urllib.error.HTTPError as error:
            return self._read(request, error)

    def get(self, path: str) -> Any:
        """Return what is there, or fail with the problem."""
        return self._good(*self.call("GET", path))

    def post(self, path: str, body: Any = None, *, key: str | None = None) -> Any:
        """Return what was made, or fail with the problem."""
        return self._good(*self.call("POST", path, {} if body is None else body, key=key))

    @staticmethod
    def _read(asked: urllib.request.Request, answer: Any) -> tuple[int, Any]:
        """Return status and answer, which must be as the closed description says."""
        content, (path, _, query) = answer.read() or b"null", asked.selector.partition("?")
        kind = answer.headers.get("Content-Type", "")
        check(asked.get_method(), path, query, answer.status, kind, content)
        return answer.status, json.loads(content)

    @staticmethod
    def _good(status: int, answer: Any) -> Any:
        assert status < 400, f"{status}: {json.dumps(answer, indent=1)}"
        return answer


def until(found: Callable[[], Any], seconds: float = 240) -> Any:
    """Return the first answer that is not empty; fail when none comes in time."""
    deadline = time.monotonic() + seconds
    while time.monotonic() < deadline:
        answer = found()
        if answer:
            return answer
        time.sleep(0.5)
    raise AssertionError(f"nothing came within {seconds} s")
