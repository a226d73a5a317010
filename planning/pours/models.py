"""Tool orders and their pours: what is to be cast, how big, by when, and on what it stands."""

from __future__ import annotations

from typing import ClassVar

from django.db import models
from django.db.models import F, Q

from planning.routes.models import StepFields, StepMaterial
from shared.access.models import CODE

MOST_FIGURE = 1_000_000
"""Mass and volume have six places before the point; SQLite would keep more, and not read it."""


class OrderStatus(models.TextChoices):
    OPEN = "open", "Open"
    DONE = "done", "Done"
    CANCELLED = "cancelled", "Cancelled"


class ToolOrder(models.Model):
    """Somebody wants a tool by a day."""

    site = models.ForeignKey("shared.Site", models.PROTECT, related_name="+")
    number = models.CharField(max_length=40, validators=[CODE])
    customer = models.CharField(max_length=120, blank=True)
    customer_reference = models.CharField(max_length=80, blank=True)
    tool = models.ForeignKey("shop.Tool", models.PROTECT, related_name="+")
    route = models.ForeignKey("planning.Route", models.PROTECT, related_name="+")
    earliest_on = models.DateField(null=True, blank=True)
    due_on = models.DateField()
    priority = models.PositiveSmallIntegerField(default=1, help_text="1 usual, up to 9.")
    status = models.CharField(max_length=10, choices=OrderStatus.choices, default="open")
    remarks = models.CharField(max_length=400, blank=True)
    held_at = models.DateTimeField(
        null=True, blank=True, editable=False, help_text="On hold since then: nothing is planned."
    )
    held_reason = models.CharField(max_length=200, blank=True, editable=False)
    copy_of = models.ForeignKey(
        "self",
        models.PROTECT,
        null=True,
        blank=True,
        editable=False,
        related_name="copies",
        help_text="The order of which this is one more piece.",
    )
    created_at = models.DateTimeField()
    version = models.PositiveIntegerField(default=1, editable=False)

    class Meta:
        ordering = ["due_on", "number"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["site", "number"], name="toolorder_number_once"),
            models.CheckConstraint(
                condition=Q(priority__gte=1, priority__lte=9),
                name="toolorder_priority_1_to_9",
                violation_error_message="priority must be 1 to 9.",
            ),
            models.CheckConstraint(
                condition=Q(earliest_on__isnull=True) | Q(due_on__gte=F("earliest_on")),
                name="toolorder_due_not_before_earliest",
                violation_error_message="due_on must not be before earliest_on.",
            ),
            models.CheckConstraint(
                condition=Q(held_at__isnull=True, held_reason="")
                | (Q(held_at__isnull=False) & ~Q(held_reason="")),
                name="toolorder_held_with_a_reason",
                violation_error_message="A hold needs a reason.",
            ),
        ]

    def __str__(self) -> str:
        return self.number


class PourStatus(models.TextChoices):
    ASKED = "asked", "Asked for"
    PLANNED = "planned", "Planned"
    POURING = "pouring", "Being poured"
    CURING = "curing", "Curing"
    DEMOULDED = "demoulded", "Demoulded"
    FAILED = "failed", "Failed"
    CANCELLED = "cancelled", "Cancelled"


class ToolSide(models.TextChoices):
    """What the lift stands on: it decides how hot the lift gets."""

    UNKNOWN = "unknown", "Unknown (counts as insulated)"
    INSULATED = "insulated", "Insulated (foam)"
    BOARD = "board", "Board or wood"
    EPOXY = "epoxy", "Cured epoxy"
    METAL = "metal", "Metal"


def _empty_or(name: str, low: int, high: int) -> Q:
    return Q(**{f"{name}__isnull": True}) | Q(**{f"{name}__gte": low, f"{name}__lte": high})


class Pour(models.Model):
    """Casting one half of a tool."""

    order = models.ForeignKey(ToolOrder, models.CASCADE, related_name="pours")
    half = models.CharField(max_length=1, choices=[("A", "A"), ("B", "B")], default="A")
    system = models.ForeignKey("shop.ResinSystem", models.PROTECT, related_name="+")
    stands_on = models.ForeignKey(
        "self", models.PROTECT, null=True, blank=True, related_name="carries"
    )
    status = models.CharField(max_length=10, choices=PourStatus.choices, default="asked")

    geometry = models.CharField(
        max_length=8,
        choices=[
            ("box", "Box and pattern"),
            ("volume", "Stated volume"),
            ("mesh", "Pattern mesh"),
        ],
        default="box",
    )
    length_mm = models.DecimalField(max_digits=8, decimal_places=1, null=True, blank=True)
    width_mm = models.DecimalField(max_digits=8, decimal_places=1, null=True, blank=True)
    depth_mm = models.DecimalField("depth of the casting, mm", max_digits=8, decimal_places=1)
    draft_deg = models.DecimalField(max_digits=4, decimal_places=1, default=0)
    pattern_l = models.DecimalField(
        "volume of the pattern, L", max_digits=10, decimal_places=4, default=0
    )
    pattern_height_mm = models.DecimalField(max_digits=8, decimal_places=1, null=True, blank=True)
    stated_l = models.DecimalField(
        "stated volume, L", max_digits=10, decimal_places=4, null=True, blank=True
    )
    shape_rows = models.JSONField(
        default=list, blank=True, editable=False, help_text="Area by height, taken from a pattern."
    )
    pattern = models.ForeignKey(
        "planning.PatternMesh", models.PROTECT, null=True, blank=True, related_name="pours"
    )
    brush_coat_kg = models.DecimalField(max_digits=8, decimal_places=4, default=0)
    release_area_m2 = models.DecimalField(max_digits=8, decimal_places=4, null=True, blank=True)
    release_recipe = models.ForeignKey(
        "shop.ReleaseRecipe", models.PROTECT, null=True, blank=True, related_name="+"
    )
    tool_side = models.CharField(max_length=10, choices=ToolSide.choices, default="unknown")
    mix_c = models.DecimalField(
        "planned temperature of the mix, °C",
        max_digits=4,
        decimal_places=1,
        null=True,
        blank=True,
        help_text="Such as from a warming cabinet. Empty: as warm as the shop is expected to be.",
    )
    mould_c = models.DecimalField(
        "temperature of a heated or cooled mould, °C",
        max_digits=4,
        decimal_places=1,
        null=True,
        blank=True,
        help_text="Empty: as warm as the shop.",
    )
    oven_c = models.DecimalField(
        "temperature of the oven it cures in, °C",
        max_digits=4,
        decimal_places=1,
        null=True,
        blank=True,
        help_text="Where it is poured in an oven or a heated cell. Empty: in the shop.",
    )

    volume_l = models.DecimalField(max_digits=10, decimal_places=4, editable=False)
    mass_kg = models.DecimalField(max_digits=10, decimal_places=4, editable=False)
    layers = models.JSONField(
        default=list, editable=False, help_text="From the bottom: depth_mm, mass_kg."
    )

    earliest_on = models.DateField(null=True, blank=True)
    due_on = models.DateField()
    priority = models.PositiveSmallIntegerField(default=1)
    may_share = models.BooleanField(default=True, help_text="May share a pot with other tools.")
    place_kind = models.CharField(max_length=12, default="bench")
    same_place = models.BooleanField(
        default=False, help_text="Cast where the half it stands on was cast."
    )
    sent = models.BooleanField(
        default=False,
        editable=False,
        help_text="It is with the customer; only its delivery notes say so.",
    )
    version = models.PositiveIntegerField(default=1, editable=False)

    class Meta:
        ordering = ["due_on", "order__number", "half"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["order", "half"],
                condition=~Q(status__in=["cancelled", "failed"]),
                name="pour_half_once_per_order",
            ),
            models.CheckConstraint(
                condition=Q(depth_mm__gt=0, volume_l__gt=0, mass_kg__gt=0),
                name="pour_depth_and_mass_positive",
                violation_error_message="depth_mm, volume and mass must be above 0.",
            ),
            models.CheckConstraint(
                condition=Q(mass_kg__lt=MOST_FIGURE, volume_l__lt=MOST_FIGURE),
                name="pour_mass_and_volume_can_be_read",
                violation_error_message="mass and volume must be below 1,000,000.",
            ),
            models.CheckConstraint(
                condition=Q(pattern_l__gte=0, brush_coat_kg__gte=0, draft_deg__gte=0),
                name="pour_pattern_not_negative",
                violation_error_message="pattern_l, brush_coat_kg, draft_deg must be 0 or more.",
            ),
            models.CheckConstraint(
                condition=Q(priority__gte=1, priority__lte=9), name="pour_priority_1_to_9"
            ),
            models.CheckConstraint(
                condition=_empty_or("mix_c", 0, 60)
                & _empty_or("mould_c", 0, 150)
                & _empty_or("oven_c", 0, 150),
                name="pour_temperatures_in_range",
                violation_error_message="The mix must be 0 to 60 °C, mould and oven 0 to 150 °C.",
            ),
            models.CheckConstraint(
                condition=Q(sent=False) | Q(status="demoulded"),
                name="pour_sent_only_when_off",
                violation_error_message="Only a casting that is demoulded can be sent.",
            ),
        ]
        indexes: ClassVar = [models.Index(fields=["status", "due_on"], name="pour_open")]

    def __str__(self) -> str:
        return f"{self.order.number} {self.half}"


class PourStep(StepFields):
    """A step of this pour, copied from the route when the order came in; done when signed."""

    pour = models.ForeignKey(Pour, models.CASCADE, related_name="steps")
    coat_number = models.PositiveSmallIntegerField(null=True, blank=True)
    planned_start = models.DateTimeField(null=True, blank=True)
    planned_end = models.DateTimeField(null=True, blank=True)
    planned_people = models.ManyToManyField("shop.Person", blank=True, related_name="+")
    oven = models.ForeignKey(
        "shop.Place", models.PROTECT, null=True, blank=True, editable=False, related_name="+"
    )
    oven_start = models.DateTimeField(
        null=True, blank=True, editable=False, help_text="When its load of the oven begins."
    )
    printed_at = models.DateTimeField(null=True, blank=True, editable=False)
    done_at = models.DateTimeField(null=True, blank=True)
    done_by = models.ForeignKey(
        "shared.User", models.PROTECT, null=True, blank=True, related_name="+"
    )
    took_min = models.PositiveIntegerField(null=True, blank=True)
    results = models.JSONField(
        default=list, blank=True, help_text="Measured values of the checks."
    )
    remark = models.CharField(max_length=400, blank=True)
    photo = models.FileField(upload_to="step_photos/", blank=True)
    waived = models.BooleanField(
        default=False, help_text="Left out on somebody's word; the remark says why."
    )

    class Meta:
        ordering = ["pour", "-phase", "order"]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=Q(waived=False) | (Q(done_at__isnull=False) & ~Q(remark="")),
                name="pourstep_waived_with_a_reason",
                violation_error_message="A step is waived with a reason.",
            ),
            models.UniqueConstraint(fields=["pour", "phase", "order"], name="pourstep_order_once"),
        ]
        indexes: ClassVar = [models.Index(fields=["planned_start"], name="pourstep_by_day")]

    def __str__(self) -> str:
        return f"{self.pour}: {self.name}"


class PourStepMaterial(StepMaterial):
    """What a step of a pour uses up in all; issued from stock when the step is signed."""

    step = models.ForeignKey(PourStep, models.CASCADE, related_name="materials")

    class Meta:
        ordering = ["step", "id"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["step", "material"], name="pourstepmaterial_once"),
            models.CheckConstraint(
                condition=Q(quantity__gt=0),
                name="pourstepmaterial_quantity_positive",
                violation_error_message="quantity must be above 0.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.quantity:f} of {self.material}"
