"""Proposed changes of the catalogue and its rules, as they come in and go out."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from shared.api import fields
from shared.api.serializers import StrictModelSerializer, StrictSerializer
from shop.catalogue import queries
from shop.catalogue.models import CatalogueChange, CatalogueRules


class ProposalSerializer(StrictSerializer):
    """What is to change, why, and from which day."""

    values = serializers.DictField(
        allow_empty=False, help_text="As in a PATCH of the row: what is named changes."
    )
    reason = fields.TextField(max_length=300)
    valid_from = fields.DayField(required=False, help_text="From 00:00 UTC on; else today.")


class DecisionSerializer(StrictSerializer):
    """A yes or no, with the reason where one is needed."""

    reason = fields.TextField(max_length=300, required=False, allow_blank=True)


class ChangedValueSerializer(StrictSerializer):
    """One value, before and after."""

    field = serializers.CharField()
    name = serializers.CharField(help_text="As the pages print it.")
    before = serializers.JSONField(allow_null=True)
    after = serializers.JSONField(allow_null=True)


class CatalogueChangeSerializer(StrictModelSerializer):
    """A change from proposal to the day it holds."""

    values = serializers.SerializerMethodField()
    row = serializers.SerializerMethodField()
    touches = serializers.ListField(child=serializers.CharField(), read_only=True)

    class Meta:
        model = CatalogueChange
        fields = (
            "id", "register", "row", "row_name", "act", "values", "valid_from", "reason",
            "touches", "state", "proposed_at", "proposed_by", "decided_at", "decided_by",
            "decision_reason", "in_force_at", "etag",
        )  # fmt: skip
        read_only_fields = fields

    @extend_schema_field(ChangedValueSerializer(many=True))
    def get_values(self, change: CatalogueChange) -> Any:
        """Return each value with what it was."""
        return queries.lines_of(change)

    def get_row(self, change: CatalogueChange) -> str | None:
        """Return the id of the row; none for one that is not in the register yet."""
        return None if change.row_id is None else str(change.row_id)


class CatalogueRulesSerializer(StrictModelSerializer):
    """What the company asks for when the catalogue changes."""

    class Meta:
        model = CatalogueRules
        fields = ("id", "two_signatures", "orders_by_two", "etag")
