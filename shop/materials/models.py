"""Suppliers, materials with their packs, and resin systems with the source of each value."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal
from typing import Any, ClassVar

from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q

from shared.access.models import CODE
from shop.core.supplier_calendar import SupplierCalendar

MOST_CLOSED_DAYS = 92
"""Longest closure of a supplier, neighbours included, so that an open day is always near."""
EARLIEST, LATEST = date(2000, 1, 1), date(2199, 12, 31)
"""Days a closure may name, as far as anybody plans."""


class Supplier(models.Model):
    code = models.CharField(max_length=40, unique=True, validators=[CODE])
    name = models.CharField(max_length=120)
    order_email = models.EmailField(blank=True)
    address = models.CharField(max_length=400, blank=True)
    contact = models.CharField(
        max_length=200, blank=True, help_text="Whom to ask: name, telephone."
    )
    our_account = models.CharField(
        max_length=60, blank=True, help_text="The number we have with the supplier."
    )
    terms = models.CharField(
        max_length=200, blank=True, help_text="Of payment and delivery, such as 30 days, DAP."
    )
    least_life_days = models.PositiveSmallIntegerField(
        null=True,
        blank=True,
        validators=[MaxValueValidator(3650)],
        help_text="Least shelf life left on the day goods arrive; empty: nothing is agreed.",
    )
    lead_time_days = models.PositiveSmallIntegerField(default=7)
    lead_time_sd_days = models.DecimalField(max_digits=5, decimal_places=2, default=0)
    order_cost = models.DecimalField(
        max_digits=10, decimal_places=2, default=0, help_text="What placing one order costs."
    )
    least_order = models.DecimalField(
        max_digits=12, decimal_places=2, default=0, help_text="Least value of one order."
    )
    currency = models.CharField(max_length=3, default="EUR")
    closed_weekdays = models.JSONField(
        default=list, blank=True, help_text="Weekdays without dispatch; 1 = Monday."
    )
    version = models.PositiveIntegerField(default=1, editable=False)

    class Meta:
        ordering = ["code"]

    def __str__(self) -> str:
        return self.name

    def calendar(self) -> SupplierCalendar:
        """Return when it is open; its closures are read once if they were prefetched."""
        closed = {day for one in self.closures.all() for day in one.days()}
        return SupplierCalendar(frozenset(self.closed_weekdays), frozenset(closed))

    def clean(self) -> None:
        """Refuse a week without an open day, alone or with its closures."""
        if set(self.closed_weekdays or ()) >= set(range(1, 8)):
            words = "closed_weekdays names all seven weekdays; leave one open."
            raise ValidationError({"closed_weekdays": words})


def home_currency() -> str:
    """Return the currency that suppliers have unless somebody says otherwise."""
    return str(Supplier._meta.get_field("currency").default)


class SupplierClosure(models.Model):
    """Days on which a supplier neither takes orders nor delivers: a holiday or a shutdown."""

    supplier = models.ForeignKey(Supplier, models.CASCADE, related_name="closures")
    first_day = models.DateField()
    last_day = models.DateField()
    reason = models.CharField(max_length=120, blank=True)

    class Meta:
        ordering = ["supplier", "first_day", "id"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["supplier", "first_day", "last_day"], name="supplierclosure_once"
            ),
            models.CheckConstraint(
                condition=Q(last_day__gte=F("first_day")),
                name="supplierclosure_in_order",
                violation_error_message="last_day must not be before first_day.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.supplier}: {self.first_day} to {self.last_day}"

    def days(self) -> list[date]:
        """Return every day of it."""
        length = (self.last_day - self.first_day).days + 1
        return [self.first_day + timedelta(days=n) for n in range(length)]

    def clean(self) -> None:
        """Refuse a closure across which nothing could be ordered."""
        if not (self.first_day and self.last_day) or self.last_day < self.first_day:
            return
        if not EARLIEST <= self.first_day <= self.last_day <= LATEST:
            words = f"first_day is {self.first_day}; give days from {EARLIEST} to {LATEST}."
            raise ValidationError({"first_day": words})
        days = (self.last_day - self.first_day).days + 1
        if days > MOST_CLOSED_DAYS:
            words = (
                f"last_day is {self.last_day}, which closes {days} days; "
                f"give {MOST_CLOSED_DAYS} days or less."
            )
            raise ValidationError({"last_day": words})
        others = SupplierClosure.objects.filter(supplier=self.supplier_id).exclude(pk=self.pk)
        near = others.filter(
            first_day__lte=self.last_day + timedelta(days=MOST_CLOSED_DAYS),
            last_day__gte=self.first_day - timedelta(days=MOST_CLOSED_DAYS),
        )
        closed = sum(len(one.days()) for one in near) + days
        if closed > MOST_CLOSED_DAYS:
            words = (
                f"last_day is {self.last_day}: with the closures around it {closed} days are "
                f"closed; {MOST_CLOSED_DAYS} days are the most."
            )
            raise ValidationError({"last_day": words})


class MaterialKind(models.TextChoices):
    RESIN = "resin", "Resin"
    HARDENER = "hardener", "Hardener"
    FILLER = "filler", "Filler"
    ACCELERATOR = "accelerator", "Accelerator"
    PIGMENT = "pigment", "Pigment"
    RELEASE_AGENT = "release_agent", "Release agent"
    SEALER = "sealer", "Sealer"
    BARRIER = "barrier", "Barrier"
    ADHESIVE = "adhesive", "Adhesive"
    CONSUMABLE = "consumable", "Consumable"


class Unit(models.TextChoices):
    """The unit a material is counted in."""

    KG = "kg", "kg"
    LITRE = "L", "L"
    METRE = "m", "m"
    SQUARE_METRE = "m2", "m²"
    PIECE = "pc", "pieces"


class Material(models.Model):
    code = models.CharField(max_length=40, unique=True, validators=[CODE])
    name = models.CharField(max_length=120)
    kind = models.CharField(max_length=16, choices=MaterialKind.choices)
    unit = models.CharField(max_length=4, choices=Unit.choices, default=Unit.KG)
    density_kg_l = models.DecimalField(max_digits=6, decimal_places=4, null=True, blank=True)
    shelf_life_months = models.PositiveSmallIntegerField(
        null=True, blank=True, validators=[MinValueValidator(1)]
    )
    open_life_days = models.PositiveSmallIntegerField(
        null=True, blank=True, validators=[MinValueValidator(1)]
    )
    storage_low_c = models.DecimalField(max_digits=4, decimal_places=1, null=True, blank=True)
    storage_high_c = models.DecimalField(max_digits=4, decimal_places=1, null=True, blank=True)
    hazard_statements = models.JSONField(
        default=list, blank=True, help_text="Codes of the product's safety data sheet: H317."
    )
    signal_word = models.CharField(
        max_length=8, blank=True, choices=[("Danger", "Danger"), ("Warning", "Warning")]
    )
    safety_data_sheet = models.CharField(
        max_length=200, blank=True, help_text="Where the sheet is kept."
    )
    check_on_receipt = models.BooleanField(
        default=False, help_text="New lots stay in quarantine until somebody has checked them."
    )
    stir_before_use = models.BooleanField(default=False, help_text="Filler settles.")
    stir_hours = models.PositiveSmallIntegerField(
        null=True,
        blank=True,
        validators=[MinValueValidator(1), MaxValueValidator(720)],
        help_text="A can is stirred again after so many hours; empty: at the start of each day.",
    )
    warm_hours = models.DecimalField(
        max_digits=5, decimal_places=1, default=0, help_text="Hours out of the store before use."
    )
    use_per_m2 = models.DecimalField(
        max_digits=9,
        decimal_places=4,
        null=True,
        blank=True,
        help_text="In the material's unit, one coat on one square metre.",
    )
    source = models.CharField(max_length=200, blank=True, help_text="Where the values stand.")
    version = models.PositiveIntegerField(default=1, editable=False)

    class Meta:
        ordering = ["code"]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=Q(density_kg_l__isnull=True) | Q(density_kg_l__gt=0),
                name="material_density_positive",
                violation_error_message="density_kg_l must be above 0 kg/L.",
            ),
            models.CheckConstraint(
                condition=Q(storage_low_c__isnull=True)
                | Q(storage_high_c__isnull=True)
                | Q(storage_high_c__gte=F("storage_low_c")),
                name="material_storage_range",
                violation_error_message="storage_high_c must not be below storage_low_c.",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class Pack(models.Model):
    """A pack a supplier sells a material in; a price break is another row with more packs."""

    material = models.ForeignKey(Material, models.CASCADE, related_name="packs")
    supplier = models.ForeignKey(Supplier, models.PROTECT, related_name="packs")
    name = models.CharField(max_length=60)
    content = models.DecimalField(
        max_digits=12, decimal_places=4, help_text="In the material's unit."
    )
    price = models.DecimalField(max_digits=12, decimal_places=4)
    from_packs = models.PositiveIntegerField(default=1, help_text="Price holds from this many.")
    least_packs = models.PositiveIntegerField(default=1)
    lead_time_days = models.PositiveSmallIntegerField(null=True, blank=True)
    gtin = models.CharField(max_length=14, blank=True)
    supplier_item = models.CharField(max_length=60, blank=True)

    class Meta:
        ordering = ["material", "supplier", "content", "from_packs"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["material", "supplier", "name", "from_packs"], name="pack_once"
            ),
            models.CheckConstraint(
                condition=Q(content__gt=0, price__gte=0, from_packs__gte=1, least_packs__gte=1),
                name="pack_content_positive",
                violation_error_message="content must be above 0 and price 0 or more.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.material}, {self.name}"


class LearnedCode(models.Model):
    """A supplier's plain barcode that a person has matched to a material once."""

    supplier = models.ForeignKey(Supplier, models.CASCADE, related_name="learned_codes")
    text = models.CharField(max_length=120)
    material = models.ForeignKey(Material, models.CASCADE, related_name="learned_codes")
    content = models.DecimalField(
        max_digits=12,
        decimal_places=4,
        null=True,
        blank=True,
        help_text="Of one container, in the material's unit.",
    )
    learned_at = models.DateTimeField()
    by = models.ForeignKey("shared.User", models.SET_NULL, null=True, related_name="+")

    class Meta:
        ordering = ["supplier", "text"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["supplier", "text"], name="learnedcode_once"),
            models.CheckConstraint(
                condition=Q(content__isnull=True) | Q(content__gt=0),
                name="learnedcode_content_positive",
                violation_error_message="content must be above 0.",
            ),
        ]

    def __str__(self) -> str:
        return self.text


def positive(*names: str) -> Q:
    """Each named column is empty or above zero."""
    condition = Q()
    for name in names:
        condition &= Q(**{f"{name}__isnull": True}) | Q(**{f"{name}__gt": 0})
    return condition


SYSTEM_VALUES = (
    "hardener_per_100",
    "mixed_density_kg_l",
    "pot_life_min",
    "gel_time_min",
    "deepest_lift_mm",
    "gap_least_min",
    "gap_greatest_min",
    "demould_min",
    "activation_kj_mol",
    "service_c",
    "cap_c",
    "post_cure",
    "kinetics",
)
"""The values of a resin system that must say where they come from."""


SYSTEM_UNITS = {
    "pot_life_mass_kg": "kg",
    "reference_c": "c",
    "service_c": "c",
    "cap_c": "c",
    "deepest_lift_mm": "mm",
    "vessel_kg": "kg",
    "least_batch_kg": "kg",
    "residue_fixed_kg": "kg",
    "pot_life_min": "min",
    "gel_time_min": "min",
    "gap_least_min": "min",
    "gap_greatest_min": "min",
    "demould_min": "min",
}
"""Values that data sheets also print in other units, and the unit that they are kept in."""


def metric(model: type[models.Model], name: str, value: Decimal) -> Decimal:
    """Return a converted figure to the places that its column keeps; halves go to even."""
    places: Any = model._meta.get_field(name)
    return value.quantize(Decimal(1).scaleb(-places.decimal_places))


class ResinSystem(models.Model):
    """Resin and hardener meant for each other, at one mix ratio."""

    code = models.CharField(max_length=40, unique=True, validators=[CODE])
    name = models.CharField(max_length=120)
    resin = models.ForeignKey(Material, models.PROTECT, related_name="+")
    hardener = models.ForeignKey(Material, models.PROTECT, related_name="+")
    hardener_per_100 = models.DecimalField(
        "hardener, parts by mass to 100 of resin", max_digits=8, decimal_places=4
    )
    ratio_tolerance_percent = models.DecimalField(
        max_digits=5, decimal_places=2, default=Decimal(2), help_text="Of the hardener's share."
    )
    mixed_density_kg_l = models.DecimalField(max_digits=6, decimal_places=4)
    pot_life_min = models.DecimalField(max_digits=7, decimal_places=1)
    pot_life_mass_kg = models.DecimalField(max_digits=8, decimal_places=4, default=Decimal("0.1"))
    reference_c = models.DecimalField(
        "temperature of the data sheet's times, °C",
        max_digits=5,
        decimal_places=1,
        default=Decimal(25),
    )
    gel_time_min = models.DecimalField(max_digits=8, decimal_places=1, null=True, blank=True)
    deepest_lift_mm = models.DecimalField(max_digits=7, decimal_places=1)
    gap_least_min = models.DecimalField(max_digits=8, decimal_places=1, null=True, blank=True)
    gap_greatest_min = models.DecimalField(max_digits=8, decimal_places=1, null=True, blank=True)
    demould_min = models.DecimalField(max_digits=8, decimal_places=1)
    activation_kj_mol = models.DecimalField(
        max_digits=6,
        decimal_places=2,
        null=True,
        blank=True,
        help_text="Empty: the stricter of 46 and 73 kJ/mol is taken, each way.",
    )
    service_c = models.DecimalField(max_digits=5, decimal_places=1, null=True, blank=True)
    cap_c = models.DecimalField(
        "highest temperature a casting may reach, °C",
        max_digits=5,
        decimal_places=1,
        null=True,
        blank=True,
    )
    post_cure = models.JSONField(
        default=list, blank=True, help_text="Steps: ramp_k_h, hold_c, hold_min."
    )
    kinetics = models.JSONField(
        null=True, blank=True, help_text="Cure kinetics and heat properties, where known."
    )
    weigh_min = models.PositiveSmallIntegerField(default=8)
    mix_min = models.PositiveSmallIntegerField(default=6)
    clean_min = models.PositiveSmallIntegerField(default=6)
    move_min = models.PositiveSmallIntegerField(default=2)
    abrade_min = models.PositiveSmallIntegerField(default=25)
    pour_rate_kg_min = models.DecimalField(max_digits=6, decimal_places=2, default=Decimal(2))
    vessel_kg = models.DecimalField(
        "largest batch, kg", max_digits=8, decimal_places=3, null=True, blank=True
    )
    least_batch_kg = models.DecimalField(max_digits=8, decimal_places=3, default=0)
    most_tools_per_batch = models.PositiveSmallIntegerField(default=4)
    residue_fixed_kg = models.DecimalField(max_digits=7, decimal_places=4, default=Decimal("0.03"))
    residue_share = models.DecimalField(max_digits=6, decimal_places=4, default=Decimal("0.01"))
    sources = models.JSONField(default=dict, help_text="For each value, where it stands.")
    version = models.PositiveIntegerField(default=1, editable=False)

    class Meta:
        ordering = ["code"]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=Q(hardener_per_100__gt=0),
                name="resinsystem_ratio_positive",
                violation_error_message="hardener_per_100 must be above 0 parts.",
            ),
            models.CheckConstraint(
                condition=Q(
                    mixed_density_kg_l__gt=0,
                    pot_life_min__gt=0,
                    pot_life_mass_kg__gt=0,
                    deepest_lift_mm__gt=0,
                    demould_min__gt=0,
                    pour_rate_kg_min__gt=0,
                    ratio_tolerance_percent__gt=0,
                    residue_fixed_kg__gte=0,
                    residue_share__gte=0,
                ),
                name="resinsystem_values_positive",
                violation_error_message="Densities, times, depths and rates must be above 0.",
            ),
            models.CheckConstraint(
                condition=positive(
                    "gel_time_min", "gap_greatest_min", "activation_kj_mol", "vessel_kg"
                ),
                name="resinsystem_optional_values_positive",
                violation_error_message="A value that is given must be above 0.",
            ),
            models.CheckConstraint(
                condition=Q(gap_greatest_min__isnull=True)
                | Q(gap_least_min__isnull=True)
                | Q(gap_greatest_min__gte=F("gap_least_min")),
                name="resinsystem_gap_range",
                violation_error_message="gap_greatest_min must not be below gap_least_min.",
            ),
            models.CheckConstraint(
                condition=~Q(resin=F("hardener")),
                name="resinsystem_two_materials",
                violation_error_message="Resin and hardener must be two materials.",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    def clean(self) -> None:
        """Refuse materials of the wrong kind, and values that do not say where they stand."""
        wrong = {}
        if self.resin_id and self.resin.kind != MaterialKind.RESIN:
            wrong["resin"] = f"{self.resin} is a {self.resin.get_kind_display().lower()}."
        if self.hardener_id and self.hardener.kind != MaterialKind.HARDENER:
            wrong["hardener"] = f"{self.hardener} is a {self.hardener.get_kind_display().lower()}."
        missing = [
            name
            for name in SYSTEM_VALUES
            if getattr(self, name) not in (None, [], {}) and not self.sources.get(name)
        ]
        if missing:
            wrong["sources"] = f"Say where these values stand: {', '.join(missing)}."
        if wrong:
            raise ValidationError(wrong)
