"""The JSON form of lots and containers."""

from __future__ import annotations

from typing import Any, ClassVar

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from shared.api import fields
from shared.api.serializers import StrictModelSerializer, StrictSerializer
from shared.api.uploads import UploadField
from shop.lots.models import Container, Lot
from shop.lots.queries import container_info
from shop.quantities import QuantityField
from shop.registers_api import PricesForFew, not_below_zero
from shop.sites.models import Location


class ContainerSerializer(StrictModelSerializer):
    lot_code = serializers.CharField(source="lot.code", read_only=True)
    lot_status = serializers.CharField(source="lot.status", read_only=True)
    material = fields.RelatedIdField(source="lot.material", read_only=True)
    material_code = serializers.CharField(source="lot.material.code", read_only=True)
    material_kind = serializers.CharField(source="lot.material.kind", read_only=True)
    expires_on = fields.DayField(source="lot.expires_on", read_only=True, allow_null=True)
    balance = serializers.SerializerMethodField()
    reserved = serializers.SerializerMethodField()
    free = serializers.SerializerMethodField()
    usable_until = serializers.SerializerMethodField()

    class Meta:
        model = Container
        fields: ClassVar = [
            "id", "code", "lot", "lot_code", "lot_status", "material", "material_code",
            "material_kind", "location", "opened_at", "expires_on", "usable_until", "balance",
            "reserved", "free",
        ]  # fmt: skip
        read_only_fields = fields

    def _quantity(self, row: Container, number: Any) -> Any:
        return QuantityField().to_representation((number, row.lot.material.unit))

    @extend_schema_field(QuantityField)
    def get_balance(self, row: Container) -> Any:
        """Return what the ledger says is in it."""
        return self._quantity(row, row.balance)

    @extend_schema_field(QuantityField)
    def get_reserved(self, row: Container) -> Any:
        """Return what is set aside for planned work."""
        return self._quantity(row, row.reserved)

    @extend_schema_field(QuantityField)
    def get_free(self, row: Container) -> Any:
        """Return what can still be promised."""
        return self._quantity(row, row.balance - row.reserved)

    @extend_schema_field(fields.MomentField(allow_null=True))
    def get_usable_until(self, row: Container) -> str | None:
        """Return the moment its first clock runs out."""
        return fields.MomentField().to_representation(container_info(row).usable_until)


class LotSerializer(PricesForFew, StrictModelSerializer):
    price_fields = ("unit_cost",)
    material_code = serializers.CharField(source="material.code", read_only=True)
    material_kind = serializers.CharField(source="material.kind", read_only=True)
    certificate_attached = serializers.SerializerMethodField()
    retested_by = serializers.SerializerMethodField()
    balance = serializers.SerializerMethodField()

    class Meta:
        model = Lot
        fields: ClassVar = [
            "id", "site", "material", "material_code", "material_kind", "supplier", "code",
            "received_on", "made_on", "expires_on", "status", "status_reason", "unit_cost",
            "certificate", "certificate_attached", "retested_on", "retested_by",
            "retest_evidence", "expiry_note", "balance", "etag",
        ]  # fmt: skip
        read_only_fields = (
            "site", "material", "supplier", "code", "received_on", "made_on", "expires_on",
            "status", "status_reason", "retested_on", "retested_by", "retest_evidence",
            "expiry_note",
        )  # fmt: skip
        extra_kwargs: ClassVar = {"unit_cost": {"validators": [not_below_zero]}}

    def get_retested_by(self, row: Lot) -> str:
        """Return the name of who extended it."""
        return str(row.retested_by) if row.retested_by else ""

    def get_certificate_attached(self, row: Lot) -> bool:
        """Tell whether a file is kept."""
        return bool(row.certificate_file)

    @extend_schema_field(QuantityField)
    def get_balance(self, row: Lot) -> Any:
        """Return what all its containers hold."""
        total = sum(container.balance for container in row.containers.all())
        return QuantityField().to_representation((total, row.material.unit))


class HoldSerializer(StrictSerializer):
    reason = fields.TextField(max_length=200)


class HoldAlsoSerializer(HoldSerializer):
    spread = fields.YesNoField(
        default=False, help_text="Hold every lot that went into the same castings as well."
    )


class RetestSerializer(StrictSerializer):
    expires_on = fields.DayField()
    evidence = fields.TextField(max_length=200)


class ExpiryCorrectionSerializer(StrictSerializer):
    expires_on = fields.DayField(
        allow_null=True, help_text="As the label says; null where it says nothing."
    )
    reason = fields.TextField(max_length=200)
    evidence = fields.TextField(
        max_length=200,
        required=False,
        allow_blank=True,
        default="",
        help_text="What shows a later day: the certificate, a picture of the label.",
    )


class CertificateSerializer(StrictSerializer):
    """A supplier's certificate, `multipart/form-data`: PDF, PNG or JPEG, at most 15 MiB."""

    file = UploadField(write_only=True)
    certificate = fields.TextField(
        max_length=200, required=False, allow_blank=True, default="", help_text="Its number."
    )


class OpeningSerializer(StrictSerializer):
    at = fields.HappenedField(required=False)


class PlacingSerializer(StrictSerializer):
    location = fields.RelatedIdField(queryset=Location.objects.all())
