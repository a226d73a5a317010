"""The JSON form of tools, their halves and what happened to them."""

from __future__ import annotations

from typing import Any, ClassVar

from rest_framework import serializers

from shared.api import fields
from shared.api.serializers import StrictModelSerializer
from shop.tools.models import Tool, ToolEvent, ToolEventKind, ToolHalf


class ToolHalfSerializer(StrictModelSerializer):
    class Meta:
        model = ToolHalf
        fields: ClassVar = ["half", "casting", "demoulded_at", "service_c", "verdict"]


class ToolSerializer(StrictModelSerializer):
    halves = ToolHalfSerializer(many=True, read_only=True)

    class Meta:
        model = Tool
        fields: ClassVar = [
            "id", "site", "code", "name", "kind", "status", "customer", "service_c",
            "expected_shots", "promised_shots", "shots_per_coat", "shots_per_inspection",
            "location", "replaces", "in_use", "halves", "etag",
        ]  # fmt: skip
        read_only_fields = ("status",)


class ToolEventSerializer(StrictModelSerializer):
    kind = fields.ChoiceField(choices=ToolEventKind.values)
    tool = fields.RelatedIdField(queryset=Tool.objects.all())
    by = serializers.SerializerMethodField()
    facts = serializers.DictField(
        child=fields.TextField(max_length=200), required=False,
        help_text="Figures of an inspection or coat: verdict, coats, gap_mm …",
    )  # fmt: skip
    client_reference = fields.TextField(max_length=80, required=False, write_only=True)

    class Meta:
        model = ToolEvent
        fields: ClassVar = [
            "id", "tool", "kind", "at", "by", "shots", "words", "facts", "client_reference",
        ]  # fmt: skip
        extra_kwargs: ClassVar = {"at": {"required": False}}

    def validate_kind(self, kind: str) -> str:
        """Refuse a casting: only a demoulding enters one."""
        if kind == "cast":
            others = ", ".join(k for k in ToolEventKind.values if k != "cast")
            raise fields.refuse(f"is not one of: {others}.", "not_a_choice", limit=others)
        return kind

    def get_by(self, row: ToolEvent) -> str:
        """Return the name of who recorded it."""
        return str(row.by) if row.by else ""

    def to_representation(self, row: Any) -> Any:
        """Write facts as text, whatever they were stored as."""
        row.facts = {str(name): str(value) for name, value in (row.facts or {}).items()}
        return super().to_representation(row)
