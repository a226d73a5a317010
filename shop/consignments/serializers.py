"""The JSON form of goods sent to another site, and of their arrival there."""

from __future__ import annotations

from typing import ClassVar

from rest_framework import serializers

from shared.api import fields
from shared.api.serializers import StrictModelSerializer, StrictSerializer
from shop.consignments.actions import MOST_LINES
from shop.consignments.models import Arrival, Consignment, ConsignmentLine
from shop.lots.models import Container
from shop.registers_api import above_zero
from shop.sites.models import Location


class SentLineSerializer(serializers.ModelSerializer[ConsignmentLine]):
    """What was sent of one container, and what of it is still on the way."""

    id = serializers.CharField()
    container_code = serializers.CharField(source="source.code")
    lot_code = serializers.CharField(source="source.lot.code")
    material_code = serializers.CharField(source="source.lot.material.code")
    unit = serializers.CharField(source="source.lot.material.unit")
    expires_on = serializers.DateField(source="source.lot.expires_on", allow_null=True)
    lot_status = serializers.CharField(source="source.lot.status")
    on_the_way = serializers.DecimalField(max_digits=14, decimal_places=4)

    class Meta:
        model = ConsignmentLine
        fields: ClassVar = [
            "id", "container_code", "lot_code", "material_code", "unit", "expires_on",
            "lot_status", "quantity", "on_the_way", "lost",
        ]  # fmt: skip


class ConsignmentSerializer(StrictModelSerializer):
    number = serializers.CharField(source="__str__")
    to_site = serializers.CharField(source="to_site.code")
    expected_on = serializers.DateField(help_text="Day the goods are expected.")
    lines = SentLineSerializer(many=True)

    class Meta:
        model = Consignment
        fields: ClassVar = [
            "id", "number", "site", "to_site", "status", "sent_at", "expected_on", "ended_at",
            "words", "lines",
        ]  # fmt: skip
        read_only_fields = fields


class NewGoodsSerializer(StrictSerializer):
    container = fields.RelatedIdField(queryset=Container.objects.select_related("lot"))
    quantity = fields.DecimalField(max_digits=12, decimal_places=4, validators=[above_zero])


class NewConsignmentSerializer(StrictSerializer):
    """Goods to be sent to another site, named by its code."""

    site = fields.SiteField()
    to_site = fields.TextField(max_length=20)
    goods = NewGoodsSerializer(many=True, allow_empty=False, max_length=MOST_LINES)
    words = fields.TextField(max_length=200, required=False, allow_blank=True, default="")
    due_on = serializers.DateField(
        required=False, allow_null=True, default=None,
        help_text="Day the goods are expected; without it the day after they are sent.",
    )  # fmt: skip
    client_reference = fields.TextField(max_length=80, required=False)


class ArrivalSerializer(StrictModelSerializer):
    number = serializers.CharField(source="__str__")
    from_site = serializers.CharField(source="consignment.site.code")
    status = serializers.CharField(source="consignment.status")
    sent_at = serializers.DateTimeField(source="consignment.sent_at")
    expected_on = serializers.DateField(
        source="consignment.expected_on", help_text="Day the goods are expected."
    )
    lines = SentLineSerializer(source="consignment.lines", many=True)

    class Meta:
        model = Arrival
        fields: ClassVar = [
            "id", "number", "site", "from_site", "status", "sent_at", "expected_on", "received_at",
            "words", "lines",
        ]  # fmt: skip
        read_only_fields = fields


class CameSerializer(StrictSerializer):
    line = fields.IdField()
    quantity = fields.DecimalField(max_digits=12, decimal_places=4, validators=[above_zero])
    location = fields.RelatedIdField(
        queryset=Location.objects.all(), required=False, allow_null=True, default=None
    )


class ArrivalReceiptSerializer(StrictSerializer):
    """What has come; with `short` the remainder is not waited for any more."""

    lines = CameSerializer(many=True, required=False, default=list, max_length=MOST_LINES)
    short = fields.YesNoField(required=False, default=False)
    words = fields.TextField(max_length=200, required=False, allow_blank=True, default="")


class NothingSerializer(StrictSerializer):
    """An empty body."""
