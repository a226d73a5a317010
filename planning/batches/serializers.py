"""REST forms of batches."""

from __future__ import annotations

from rest_framework import serializers

from planning.batches.models import Batch, BatchLine, BatchPortion
from shared.api import fields
from shared.api.serializers import StrictModelSerializer


class BatchLineSerializer(StrictModelSerializer):
    """One row to weigh."""

    container_code = serializers.CharField(source="container.code", read_only=True)
    lot_code = serializers.CharField(source="container.lot.code", read_only=True)

    class Meta:
        model = BatchLine
        fields = [
            "id",
            "order",
            "role",
            "container",
            "container_code",
            "lot_code",
            "target_kg",
            "low_kg",
            "high_kg",
        ]
        read_only_fields = fields


class BatchPortionSerializer(StrictModelSerializer):
    """Where a part of a batch goes."""

    pour = fields.IdField(source="lift.pour_id", read_only=True)
    lift_number = serializers.IntegerField(source="lift.number", read_only=True)

    class Meta:
        model = BatchPortion
        fields = [
            "id",
            "order",
            "pour",
            "lift_number",
            "kg",
            "planned_start",
            "planned_end",
            "poured_kg",
            "poured_at",
            "lost_kg",
        ]
        read_only_fields = fields


class BatchSerializer(StrictModelSerializer):
    """A batch: one mix, one pot, one clock."""

    lines = BatchLineSerializer(many=True, read_only=True)
    portions = BatchPortionSerializer(many=True, read_only=True)

    class Meta:
        model = Batch
        fields = [
            "id",
            "site",
            "number",
            "plan",
            "system",
            "mixer",
            "scale",
            "people",
            "status",
            "mixed_kg",
            "planned_start",
            "planned_contact",
            "planned_pour_start",
            "planned_pour_end",
            "planned_end",
            "pot_life_min",
            "pot_life_basis",
            "mix_c",
            "contact_at",
            "poured_at",
            "printed_at",
            "pinned",
            "lines",
            "portions",
            "etag",
        ]
        read_only_fields = [name for name in fields if name != "pinned"]
