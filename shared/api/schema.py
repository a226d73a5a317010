"""The OpenAPI description: headers that every view of a kind shares, and its problem answers."""

from __future__ import annotations

from typing import Any

from drf_spectacular.openapi import AutoSchema
from drf_spectacular.utils import OpenApiParameter

from shared.api.field_words import words_of
from shared.api.fields import ID_SCHEMA, bounds_words, unit_words
from shared.api.problems import MEDIA_TYPE

PROBLEM = {
    "type": "object",
    "description": "RFC 9457 problem details. Programs read code and errors.",
    "required": ["type", "title", "status", "detail", "code", "request_id"],
    "properties": {
        "type": {"type": "string", "format": "uri"},
        "title": {"type": "string"},
        "status": {"type": "integer"},
        "detail": {"type": "string"},
        "code": {"type": "string"},
        "request_id": {"type": "string"},
        "errors": {
            "type": "array",
            "items": {
                "type": "object",
                "required": ["code", "detail"],
                "properties": {
                    "pointer": {"type": "string", "description": "JSON Pointer into the body."},
                    "parameter": {"type": "string"},
                    "code": {"type": "string"},
                    "detail": {"type": "string"},
                    "value": {"type": "string"},
                    "limit": {"type": "string"},
                    "unit": {"type": "string"},
                },
            },
        },
    },
}
ALWAYS = {
    "400": "Unreadable, or an unknown parameter.",
    "401": "No token, or not a valid one.",
    "403": "The role or token lacks the scope.",
    "404": "Nothing here, or of another site.",
    "405": "Not with this method.",
    "406": "Not in this form.",
    "429": "Too many requests; see Retry-After.",
    "503": "Busy; see Retry-After.",
}
WRITING = {
    "409": "A rule or the present state forbids it.",
    "413": "Too large.",
    "415": "Not JSON.",
    "422": "Some fields are not valid.",
}
VERSIONED = {
    "412": "Changed since it was read.",
    "428": "If-Match is missing.",
}
DOCUMENT = "application/xml"
"""A document is made from rows, which may not be fit for one yet."""
UNSAFE = ("post", "put", "patch", "delete")


class ShopSchema(AutoSchema):
    """Adds If-Match and Idempotency-Key where a view wants them."""

    def is_deprecated(self) -> bool:
        """Mark what is to go."""
        return getattr(self.view, "leaving", None) is not None or super().is_deprecated()

    def get_override_parameters(self) -> list[Any]:
        """Return the headers of this operation."""
        found = list(super().get_override_parameters())
        if self.method in ("PATCH", "PUT", "DELETE") and getattr(self.view, "versioned", False):
            found.append(
                OpenApiParameter(
                    "If-Match", str, "header", required=True, description="The ETag you read."
                )
            )
        if self.method == "POST" and getattr(self.view, "key_required", False):
            found.append(
                OpenApiParameter(
                    "Idempotency-Key",
                    {"type": "string", "minLength": 16, "maxLength": 255},
                    "header",
                    required=True,
                    description="16 to 255 visible characters; the same key is carried out once.",
                )
            )
        return found

    def _map_basic_serializer(self, serializer: Any, direction: str) -> Any:
        """
        Describe an answer by what really writes it, without the prices some may not see.

        A serializer whose rows are answered in another form names that in `read_as`.
        """
        if direction == "response" and (read_as := getattr(serializer, "read_as", None)):
            serializer = read_as()
        schema = super()._map_basic_serializer(serializer, direction)
        left_out = getattr(serializer, "price_fields", ())
        if direction == "response" and "required" in schema:
            schema["required"] = [name for name in schema["required"] if name not in left_out]
        return schema

    def get_response_serializers(self) -> Any:
        """Name what a new row, a changed one or a bulk call answers with."""
        view: Any = self.view
        action = getattr(view, "action", None)
        status = {"create": 201, "partial_update": 200}.get(action or "")
        if status and getattr(view, "read_serializer_class", None):
            return {status: view.read_serializer_class}
        if action != "bulk":
            return super().get_response_serializers()
        from shared.api.viewsets import bulk_of

        sent: Any = type(view.get_serializer().fields["items"].child)
        return {201: bulk_of(view.read_serializer_class or sent)}

    def get_tags(self) -> list[str]:
        """Group by the noun of the view."""
        noun = getattr(self.view, "scope_noun", None)
        return [noun] if noun else super().get_tags()


def _describe(name: str, field: dict[str, Any]) -> None:
    """Say what a field of this name is, or its unit and range, where nothing says more."""
    if "description" in field or "$ref" in field:
        return
    if told := words_of(name, is_id=field.get("pattern") == ID_SCHEMA["pattern"]):
        field["description"] = told
        return
    words = [unit_words(name), bounds_words(field.get("minimum"), field.get("maximum"))]
    if said := "; ".join(word for word in words if word):
        field["description"] = f"{said[0].upper()}{said[1:]}."


def add_problems(result: dict[str, Any], generator: Any, request: Any, public: bool) -> Any:
    """Give every operation its problem answers."""
    schemas = result.setdefault("components", {}).setdefault("schemas", {})
    schemas["Problem"] = PROBLEM
    for schema in schemas.values():
        for name, field in schema.get("properties", {}).items():
            _describe(name, field)
    for path in result.get("paths", {}).values():
        for method, operation in path.items():
            if method not in (*UNSAFE, "get"):
                continue
            answers = dict(ALWAYS)
            if method in UNSAFE:
                answers |= WRITING
            if DOCUMENT in operation["responses"].get("200", {}).get("content", {}):
                answers |= {status: WRITING[status] for status in ("409", "422")}
            if DOCUMENT in operation.get("requestBody", {}).get("content", {}):
                operation["requestBody"]["required"] = True  # as text alone it would not be
            headers = {p["name"] for p in operation.get("parameters", ()) if p["in"] == "header"}
            if "If-Match" in headers:
                answers |= VERSIONED
            for status, words in answers.items():
                operation["responses"].setdefault(
                    status,
                    {
                        "description": words,
                        "content": {
                            MEDIA_TYPE: {"schema": {"$ref": "#/components/schemas/Problem"}}
                        },
                    },
                )
    return result
