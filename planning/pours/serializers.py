"""REST forms of tool orders, pours and their steps."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from planning.order_events.queries import last_told
from planning.pours.models import Pour, PourStatus, PourStep, ToolOrder
from planning.pours.queries import delivery_notes, shipped
from planning.routes.models import Route
from shared.access.models import CODE
from shared.api import fields
from shared.api.serializers import StrictModelSerializer, StrictSerializer

ASKED_FIELDS = [
    "half",
    "system",
    "geometry",
    "length_mm",
    "width_mm",
    "depth_mm",
    "draft_deg",
    "pattern_l",
    "pattern_height_mm",
    "stated_l",
    "brush_coat_kg",
    "release_area_m2",
    "release_recipe",
    "tool_side",
    "mix_c",
    "mould_c",
    "oven_c",
    "earliest_on",
    "due_on",
    "priority",
    "may_share",
    "place_kind",
    "same_place",
]


class AskedPourSerializer(StrictModelSerializer):
    """A pour as it is asked for; dates and priority are the order's when left out."""

    due_on = fields.DayField(required=False)
    priority = fields.WholeField(required=False, min_value=1, max_value=9)

    class Meta:
        model = Pour
        fields = ASKED_FIELDS


class PourSerializer(StrictModelSerializer):
    """A pour with what was worked out of it."""

    order_number = serializers.CharField(source="order.number", read_only=True)
    tool = fields.IdField(source="order.tool_id", read_only=True)

    class Meta:
        model = Pour
        fields = [
            "id",
            "order",
            "order_number",
            "tool",
            "stands_on",
            "status",
            *ASKED_FIELDS,
            "volume_l",
            "mass_kg",
            "sent",
            "etag",
        ]
        read_only_fields = ["order", "half", "stands_on", "status", "volume_l", "mass_kg", "sent"]


GONE = (PourStatus.CANCELLED, PourStatus.FAILED)


class OrderDeliverySerializer(StrictSerializer):
    """A delivery note, as far as it is about one order."""

    id = fields.IdField(help_text="Id of the delivery note.")
    number = serializers.CharField(help_text="As it stands on the paper.")
    kind = serializers.CharField(help_text="sent, or returned where it came back.")
    at = fields.MomentField(help_text="When it left, or came back.")
    halves = serializers.ListField(
        child=serializers.CharField(), help_text="The halves of the tool that are on it."
    )
    carrier = serializers.CharField(help_text="Who carries it; empty: not known.")
    carrier_reference = serializers.CharField(help_text="The carrier's number for it.")


class ToolOrderSerializer(StrictModelSerializer):
    """A tool order as others read it."""

    _dates: dict[int, dict[str, Any]] | None = None

    tool_code = serializers.CharField(source="tool.code", read_only=True)
    route_code = serializers.CharField(source="route.code", read_only=True)
    pours = PourSerializer(many=True, read_only=True)
    shipped = serializers.SerializerMethodField(
        help_text="How much of it is with the customer: none, part or all."
    )
    delivery_notes = serializers.SerializerMethodField(
        help_text="What left and what came back, the first note first."
    )
    ready_at = serializers.SerializerMethodField(
        help_text="When the last step of its last casting is done, as was told last; null while "
        "one of them has no date."
    )

    @extend_schema_field(fields.MomentField(allow_null=True))
    def get_ready_at(self, order: ToolOrder) -> str | None:
        """Return when all castings are done by what the events of the order said last."""
        wanted = [pour for pour in order.pours.all() if pour.status not in GONE]
        told = self._told(order)
        if not wanted or any(pour.pk not in told for pour in wanted):
            return None
        return max(told[pour.pk]["done_at"] for pour in wanted)

    def _told(self, order: ToolOrder) -> dict[int, dict[str, Any]]:
        """Return the dates told last of all orders that are answered, read once."""
        if self._dates is None:
            page = getattr(self.parent, "instance", None)
            orders = page if isinstance(page, list | tuple) else [order]
            self._dates = last_told([pour for one in orders for pour in one.pours.all()])
        return self._dates

    def get_shipped(self, order: ToolOrder) -> str:
        """Return how much of the order is away."""
        return shipped(order)

    @extend_schema_field(OrderDeliverySerializer(many=True))
    def get_delivery_notes(self, order: ToolOrder) -> Any:
        """Return the delivery notes that name castings of the order."""
        return OrderDeliverySerializer(delivery_notes(order), many=True).data

    class Meta:
        model = ToolOrder
        fields = [
            "id",
            "site",
            "number",
            "customer",
            "customer_reference",
            "tool",
            "tool_code",
            "route",
            "route_code",
            "earliest_on",
            "due_on",
            "priority",
            "status",
            "remarks",
            "held_at",
            "held_reason",
            "copy_of",
            "pours",
            "shipped",
            "delivery_notes",
            "ready_at",
            "etag",
        ]
        read_only_fields = fields


class RouteByCode(fields.TextField):
    """A route, by its code."""

    def run_validation(self, data: Any = serializers.empty) -> Any:
        """Return the route of a code, once the text itself is judged."""
        value = super().run_validation(data)
        route = Route.objects.filter(code=value).first()
        if route is None:
            known = ", ".join(Route.objects.values_list("code", flat=True)) or "none yet"
            raise fields.refuse(f"is not the code of a route; known: {known}.", "does_not_exist")
        return route


class ChangedToolOrderSerializer(StrictModelSerializer):
    """What may be changed of an order that is under way; the reason is told to others."""

    route = RouteByCode(max_length=40, required=False)
    reason = fields.TextField(max_length=200, allow_blank=True, required=False)

    class Meta:
        model = ToolOrder
        fields = [
            "due_on",
            "earliest_on",
            "priority",
            "route",
            "customer",
            "customer_reference",
            "remarks",
            "reason",
        ]


class OrderHoldSerializer(StrictSerializer):
    """Why something is done."""

    reason = fields.TextField(max_length=200)


class MayGiveReasonSerializer(StrictSerializer):
    """Why something is done, if there is something to say."""

    reason = fields.TextField(max_length=200, allow_blank=True, required=False, default="")


class QuantitySerializer(MayGiveReasonSerializer):
    """How many pieces of the same tool are wanted in all."""

    quantity = fields.WholeField(
        min_value=1, max_value=50, help_text="How many pieces are wanted in all."
    )


class NewToolOrderSerializer(StrictSerializer):
    """What is needed to take in a tool order; a number is given when left out."""

    site = fields.SiteField()
    number = fields.TextField(required=False, max_length=40, validators=[CODE])
    tool_code = fields.TextField(max_length=40, validators=[CODE])
    tool_name = fields.TextField(required=False, max_length=120, allow_blank=True, default="")
    route = RouteByCode(max_length=40)
    customer = fields.TextField(required=False, max_length=120, allow_blank=True, default="")
    customer_reference = fields.TextField(
        required=False, max_length=80, allow_blank=True, default=""
    )
    earliest_on = fields.DayField(required=False, allow_null=True, default=None)
    due_on = fields.DayField()
    priority = fields.WholeField(required=False, default=1, min_value=1, max_value=9)
    service_c = fields.DecimalField(
        required=False, allow_null=True, default=None, max_digits=5, decimal_places=1
    )
    remarks = fields.TextField(required=False, max_length=400, allow_blank=True, default="")
    pours = AskedPourSerializer(many=True, allow_empty=False, max_length=2)


class PourStepMaterialSerializer(StrictSerializer):
    """How much a step of a pour uses up in all, in the material's own unit."""

    material = fields.TextField(source="material.code", help_text="The material's code.")
    name = fields.TextField(source="material.name")
    quantity = fields.DecimalField(max_digits=12, decimal_places=4)
    unit = fields.TextField(source="material.unit")


class PourStepSerializer(StrictModelSerializer):
    """A step of work of a pour; `photo` is where its picture is, empty without one."""

    materials = PourStepMaterialSerializer(many=True, read_only=True)
    photo = serializers.SerializerMethodField()

    def get_photo(self, step: PourStep) -> str:
        """Return the address of the photo."""
        return f"/api/v1/steps/{step.pk}/photo" if step.photo else ""

    class Meta:
        model = PourStep
        fields = [
            "id",
            "pour",
            "phase",
            "order",
            "name",
            "hands_min",
            "wait_min",
            "longest_wait_min",
            "skill",
            "hands",
            "coat_number",
            "materials",
            "checks",
            "planned_start",
            "planned_end",
            "planned_people",
            "done_at",
            "took_min",
            "results",
            "remark",
            "waived",
            "photo",
        ]
        read_only_fields = fields


class SignatureSerializer(StrictSerializer):
    """Signing a step of work as done."""

    at = fields.HappenedField(required=False)
    took_min = fields.WholeField(required=False, allow_null=True, min_value=0, max_value=100_000)
    results = serializers.ListField(
        child=serializers.DictField(), required=False, max_length=50, default=list
    )
    remark = fields.TextField(required=False, max_length=400, allow_blank=True, default="")


class WaiverSerializer(StrictSerializer):
    """Leaving a step of work out."""

    reason = fields.TextField(max_length=400)


def for_action(pour: dict[str, Any]) -> dict[str, Any]:
    """Return a validated pour as the action takes it: links by id, empty values left out."""
    values = {name: value for name, value in pour.items() if value is not None}
    system = values.pop("system", None)
    recipe = values.pop("release_recipe", None)
    if system is not None:
        values["system_id"] = system.pk
    if recipe is not None:
        values["release_recipe_id"] = recipe.pk
    return values
