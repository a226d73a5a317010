"""The JSON form of recalls."""

from __future__ import annotations

from typing import Any, ClassVar

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from shared.api import fields, shapes
from shared.api.serializers import StrictModelSerializer, StrictSerializer
from shop.lots.models import LOT_CODE, Lot
from shop.materials.models import Material
from shop.recalls.models import Recall

STOP = shapes.obj(material=shapes.ID, lot_code=shapes.TEXT, everywhere=shapes.YES_NO)


class RecallSerializer(StrictModelSerializer):
    by = serializers.SerializerMethodField()
    lifted_by = serializers.SerializerMethodField()
    stops = serializers.SerializerMethodField()

    class Meta:
        model = Recall
        fields: ClassVar = [
            "id", "site", "material", "lot_code", "reason", "at", "by", "stops", "lifted_at",
            "lifted_by", "lifted_because",
        ]  # fmt: skip
        read_only_fields = fields

    def get_by(self, row: Recall) -> str:
        """Return the name of who recalled it."""
        return str(row.by) if row.by else ""

    def get_lifted_by(self, row: Recall) -> str:
        """Return the name of who lifted it."""
        return str(row.lifted_by) if row.lifted_by else ""

    @extend_schema_field(shapes.rows(STOP))
    def get_stops(self, row: Recall) -> Any:
        """Return the lot codes that may not be used; `everywhere` or at the recall's site only."""
        return [
            {
                "material": str(stop.material_id),
                "lot_code": stop.code,
                "everywhere": stop.site_id is None,
            }
            for stop in row.stops.all()
        ]


class _SiteUnlessLot(fields.SiteField):
    """The site of a lot never received; a lot that is named has its own."""

    def run_validation(self, data: Any = serializers.empty) -> Any:
        """Ask for nothing where the lot says it."""
        sent = getattr(self.parent, "initial_data", None) or ()
        if data is serializers.empty and "lot" in sent:
            raise serializers.SkipField
        return super().run_validation(data)


class NewRecallSerializer(StrictSerializer):
    """Hold a lot and every lot that went into the same castings, now and when more comes."""

    lot = fields.RelatedIdField(queryset=Lot.objects.all(), required=False)
    site = _SiteUnlessLot()
    material = fields.RelatedIdField(queryset=Material.objects.all(), required=False)
    lot_code = fields.TextField(
        max_length=40,
        required=False,
        validators=[LOT_CODE],
        help_text="With material, instead of lot: a lot that was never received here.",
    )
    reason = fields.TextField(max_length=200)

    def validate(self, attrs: Any) -> Any:
        """Want a lot, or a material with the code of a lot."""
        if ("lot" in attrs) == ("material" in attrs or "lot_code" in attrs):
            words = "give the id of a lot, or material and lot_code of one never received here."
            raise serializers.ValidationError({"lot": [fields.detail(words, "required")]})
        if "lot" not in attrs and len({"material", "lot_code"} & set(attrs)) < 2:
            missing = "lot_code" if "material" in attrs else "material"
            raise serializers.ValidationError(
                {missing: [fields.detail("is missing.", "required")]}
            )
        return attrs


class HeldLotSerializer(StrictSerializer):
    """A lot that a recall holds."""

    id = fields.IdField()
    code = serializers.CharField()


class RecalledSerializer(RecallSerializer):
    """A recall as it was made, with the lots it holds."""

    lots = HeldLotSerializer(many=True, help_text="Lots that are held at the site.")

    class Meta(RecallSerializer.Meta):
        fields: ClassVar = [*RecallSerializer.Meta.fields, "lots"]


class LiftingSerializer(StrictSerializer):
    reason = fields.TextField(max_length=200)
