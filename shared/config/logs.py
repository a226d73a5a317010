"""Log lines as JSON, one object a line, for a company that gathers them."""

from __future__ import annotations

import json
import logging
from datetime import UTC, datetime

from celery import current_task

from shared.caller import current_request


class JsonLine(logging.Formatter):
    """
    Write a record as one JSON object.

    Members are `at` (UTC, ISO 8601), `level`, `logger`, `message`, and where there is one
    `request`, `person` and `task`, the ids to look for in the audit and in an answer's headers.
    """

    def format(self, record: logging.LogRecord) -> str:
        """Return the line."""
        told = {
            "at": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname,
            "logger": record.name,
            "message": record.getMessage(),
            **_ids(),
        }
        if record.exc_info:
            told["exception"] = self.formatException(record.exc_info)
        return json.dumps(told, ensure_ascii=False)


def _ids() -> dict[str, str]:
    found = {}
    request = current_request()
    if request is not None:
        found["request"] = getattr(request, "request_id", "")
        # Reading `user` may ask the database, which a log line must never do.
        person = getattr(request, "_cached_user", None)
        if person is not None and person.pk:
            found["person"] = str(person.pk)
    if current_task and current_task.request.id:
        found["task"] = current_task.request.id
    return found
