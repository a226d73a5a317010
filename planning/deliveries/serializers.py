"""REST forms of delivery notes."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from planning.deliveries.actions import MOST_CASTINGS
from planning.deliveries.models import DeliveryLine, DeliveryNote
from planning.pours.models import Pour
from shared.api import fields
from shared.api.serializers import StrictModelSerializer, StrictSerializer


class DeliveryLineSerializer(serializers.ModelSerializer[DeliveryLine]):
    """A casting on a note, with the order it was cast for."""

    pour = fields.IdField(source="pour_id", help_text="Id of the casting.")
    half = serializers.CharField(source="pour.half", help_text="Half of the tool: A or B.")
    order = fields.IdField(source="pour.order_id", help_text="Id of its tool order.")
    order_number = serializers.CharField(source="pour.order.number")
    customer_reference = serializers.CharField(source="pour.order.customer_reference")
    tool_code = serializers.CharField(
        source="pour.order.tool.code", help_text="Code of the tool that it is part of."
    )
    mass_kg = serializers.DecimalField(
        source="pour.mass_kg", max_digits=10, decimal_places=4,
        help_text="Mass of the casting as ordered, without inserts or packing, kg.",
    )  # fmt: skip
    taken_back = serializers.SerializerMethodField(
        help_text="True once a further note took it back."
    )

    class Meta:
        model = DeliveryLine
        fields = [
            "pour", "half", "order", "order_number", "customer_reference", "tool_code",
            "mass_kg", "quantity", "taken_back",
        ]  # fmt: skip

    def get_taken_back(self, row: DeliveryLine) -> bool:
        """Tell whether it came back."""
        return getattr(row, "taken_back_by", None) is not None


class DeliveryNoteSerializer(StrictModelSerializer):
    """A delivery as it was sent, or what of one came back."""

    number = serializers.CharField(help_text="As it stands on the paper.")
    by = serializers.SerializerMethodField(help_text="Who wrote it down; empty: nobody known.")
    lines = DeliveryLineSerializer(many=True, help_text="The castings on it.")

    class Meta:
        model = DeliveryNote
        fields = [
            "id", "site", "number", "kind", "takes_back", "at", "recorded_at", "by", "recipient",
            "address", "carrier", "carrier_reference", "packages", "remarks", "reason", "lines",
        ]  # fmt: skip
        read_only_fields = fields

    def get_by(self, row: DeliveryNote) -> str:
        """Return the name of who wrote it down."""
        return str(row.by) if row.by else ""


class NewDeliveryNoteSerializer(StrictSerializer):
    """Castings to be sent to one address."""

    site = fields.SiteField()
    pours = serializers.ListField(
        child=fields.RelatedIdField(queryset=Pour.objects.select_related("order")),
        allow_empty=False,
        max_length=MOST_CASTINGS,
        help_text="Ids of the castings, each demoulded, accepted and not sent yet.",
    )
    at = fields.HappenedField(required=False, help_text="When it left; now when left out.")
    recipient = fields.TextField(
        max_length=120, required=False, allow_blank=True, default="",
        help_text="To whom it goes; the orders' customer when left out.",
    )  # fmt: skip
    address = fields.TextField(
        max_length=400, required=False, allow_blank=True, default="",
        help_text="Where it goes, in lines; that of the last delivery to them when left out.",
    )  # fmt: skip
    carrier = fields.TextField(
        max_length=80, required=False, allow_blank=True, default="", help_text="Who carries it."
    )
    carrier_reference = fields.TextField(
        max_length=80, required=False, allow_blank=True, default="",
        help_text="The carrier's number for it.",
    )  # fmt: skip
    packages = fields.WholeField(
        required=False, allow_null=True, default=None, min_value=1, max_value=10_000,
        help_text="How many packages; null: nobody counted them.",
    )  # fmt: skip
    remarks = fields.TextField(max_length=400, required=False, allow_blank=True, default="")
    client_reference = fields.TextField(
        max_length=80, required=False,
        help_text="Your own name for it: a second note of that name is never written.",
    )  # fmt: skip


class DeliveryReturnSerializer(StrictSerializer):
    """What of a delivery came back, and why."""

    pours = serializers.ListField(
        child=fields.RelatedIdField(queryset=Pour.objects.select_related("order")),
        required=False,
        allow_null=True,
        default=None,
        max_length=MOST_CASTINGS,
        help_text="Ids of the castings that came back; all that are away when left out.",
    )
    at = fields.HappenedField(required=False, help_text="When it came back; now when left out.")
    reason = fields.TextField(max_length=200)
    client_reference = fields.TextField(
        max_length=80, required=False,
        help_text="Your own name for it: a second note of that name is never written.",
    )  # fmt: skip


def body_of(values: dict[str, Any], who: str, key: str) -> dict[str, Any]:
    """Return validated values as the actions take them, with the key that guards the note."""
    reference = values.pop("client_reference", None)
    return {**values, "key": f"ref:{who}:{reference}" if reference else f"api:{key}"}
