"""What the service posts to others, as the `webhooks` of the API's description (OpenAPI 3.1)."""

from __future__ import annotations

from typing import Any

TEXT = {"type": "string"}

REMINDER = {
    "type": "object",
    "required": ["id", "kind", "subject", "title", "due_at", "late_min", "version"],
    "properties": {
        "id": TEXT,
        "kind": TEXT,
        "subject": TEXT,
        "title": TEXT,
        "due_at": {"type": "string", "format": "date-time"},
        "late_min": {"type": "integer", "minimum": 0},
        "version": {"type": "integer"},
    },
}
REMINDER_DUE = {
    "type": "object",
    "required": ["type", "timestamp", "data"],
    "properties": {
        "type": {"type": "string", "const": "reminder.due"},
        "timestamp": {"type": "string", "format": "date-time"},
        "data": {
            "type": "object",
            "required": ["site", "sent_again", "escalated", "reminders"],
            "properties": {
                "site": TEXT,
                "sent_again": {
                    "type": "boolean",
                    "description": "It may have arrived before; the webhook-id is the same.",
                },
                "escalated": {"type": "boolean"},
                "reminders": {"type": "array", "items": REMINDER},
            },
        },
    },
}


def _header(name: str, words: str) -> dict[str, Any]:
    return {"name": name, "in": "header", "required": True, "description": words, "schema": TEXT}


def add(result: dict[str, Any], generator: Any, request: Any, public: bool) -> dict[str, Any]:
    """Describe the messages the service sends, signed by Standard Webhooks 1.0.0."""
    words = "A reminder is due, posted to the address a person chose."
    event = "Something happened, posted to each endpoint of its site: as the feed lists it."
    result["webhooks"] = {
        "reminder.due": _posted("reminder_due", words, "reminders", REMINDER_DUE),
        "event": _posted("event", event, "webhooks", {"$ref": "#/components/schemas/Event"}),
    }
    return result


def _posted(name: str, words: str, tag: str, schema: dict[str, Any]) -> dict[str, Any]:
    return {
        "post": {
            "operationId": name,
            "summary": words,
            "tags": [tag],
            "parameters": [
                _header("webhook-id", "Stays the same over attempts: drop repeats by it."),
                _header("webhook-timestamp", "Seconds since 1970 of this attempt."),
                _header(
                    "webhook-signature",
                    "v1, and the base64 HMAC-SHA256; several, parted by spaces, while a secret "
                    "is being changed.",
                ),
            ],
            "requestBody": {
                "required": True,
                "content": {"application/json": {"schema": schema}},
            },
            "responses": {
                "2XX": {"description": "Taken; anything else is tried again."},
                "410": {"description": "The address wants no more."},
            },
        }
    }
