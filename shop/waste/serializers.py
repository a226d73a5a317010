"""The JSON form of the record of hazardous waste."""

from __future__ import annotations

from typing import Any, ClassVar

from rest_framework import serializers

from shared.api import fields
from shared.api.serializers import StrictModelSerializer, StrictSerializer
from shop.lots.models import Lot
from shop.waste.models import WasteEntry
from shop.waste.queries import KINDS, Waste


class WasteEntrySerializer(StrictModelSerializer):
    at = fields.HappenedField(required=False)
    by = serializers.SerializerMethodField()
    withdrawn = serializers.SerializerMethodField(help_text="Why; null: it holds.")
    lot = fields.RelatedIdField(queryset=Lot.objects.all(), required=False, allow_null=True)
    client_reference = fields.TextField(max_length=80, required=False, write_only=True)

    class Meta:
        model = WasteEntry
        fields: ClassVar = [
            "id", "site", "kind", "mass_kg", "at", "recorded_at", "by", "lot", "counterpart",
            "words", "withdrawn", "client_reference",
        ]  # fmt: skip
        read_only_fields = ("recorded_at",)

    def get_by(self, row: WasteEntry) -> str:
        """Return the name of who entered it."""
        return str(row.by) if row.by else ""

    def get_withdrawn(self, row: WasteEntry) -> str | None:
        """Return the reason of its withdrawal."""
        gone = getattr(row, "withdrawal", None)
        return gone.words if gone else None


class WasteWithdrawalSerializer(StrictSerializer):
    """Why an entry was wrong."""

    words = fields.TextField(max_length=200)


def shown(row: Waste) -> dict[str, Any]:
    """Return a line of the record as the API answers it."""
    return {
        "at": fields.MomentField().to_representation(row.at),
        "kind": row.kind,
        "kind_words": KINDS[row.kind],
        "mass_kg": None if row.mass_kg is None else f"{row.mass_kg:.4f}",
        "lot": str(row.lot.pk) if row.lot else None,
        "lot_code": row.lot.code if row.lot else None,
        "material_code": row.lot.material.code if row.lot else None,
        "hazards": row.hazards,
        "counterpart": row.counterpart,
        "words": row.words,
        "by": row.by,
        "entry": str(row.entry.pk) if row.entry else None,
    }
