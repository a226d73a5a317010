"""Materials with their packs, and resin systems with the source of each value."""

from __future__ import annotations

from decimal import Decimal
from typing import Any, ClassVar

from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q

from shared.access.models import CODE
from shop.materials.suppliers import Supplier


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
