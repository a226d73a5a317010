"""Further components of a resin system: filler, accelerator, pigment, by parts to 100 of resin."""

from __future__ import annotations

from decimal import Decimal
from typing import Any, ClassVar

from django.core.exceptions import ValidationError
from django.core.validators import RegexValidator
from django.db import models
from django.db.models import Q

from shared.errors import ShopError
from shop.catalogue.queries import two_signatures
from shop.catalogue.touching import touched
from shop.materials.models import Material, MaterialKind, ResinSystem, Unit

EVER_USED = "shop.resinsystem:ever"
"""What is asked for pours of a system, whether or not any is planned."""
KINDS = (MaterialKind.FILLER, MaterialKind.ACCELERATOR, MaterialKind.PIGMENT)
TAKEN = ("resin", "hardener")
NAME = RegexValidator(
    r"^[a-z][a-z0-9 -]*\Z",
    "Write the name in small letters, digits, spaces and hyphens, such as filler.",
)


class SystemComponent(models.Model):
    """What is weighed into each batch of a system beside resin and hardener."""

    system = models.ForeignKey(ResinSystem, models.CASCADE, related_name="further")
    order = models.PositiveSmallIntegerField(
        "weighed after the resin, as number", default=1, help_text="The hardener is weighed last."
    )
    name = models.CharField(max_length=20, validators=[NAME], help_text="Such as filler.")
    material = models.ForeignKey(Material, models.PROTECT, related_name="+")
    per_100 = models.DecimalField(
        "parts by mass to 100 of resin",
        max_digits=8,
        decimal_places=4,
        help_text="Parts per hundred resin (phr).",
    )
    tolerance_percent = models.DecimalField(
        "may be off by, %", max_digits=5, decimal_places=2, default=Decimal(2)
    )
    source = models.CharField(max_length=200, help_text="Where these values stand.")
    version = models.PositiveIntegerField(default=1, editable=False)

    class Meta:
        ordering = ["system", "order", "id"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["system", "name"], name="systemcomponent_name_once",
                violation_error_message="The system has a component of this name already.",
            ),
            models.UniqueConstraint(
                fields=["system", "material"], name="systemcomponent_material_once",
                violation_error_message="The system has this material already.",
            ),
            models.CheckConstraint(
                condition=Q(per_100__gt=0, tolerance_percent__gt=0, tolerance_percent__lte=50),
                name="systemcomponent_values_in_range",
                violation_error_message="per_100 must be above 0 parts, and tolerance_percent "
                "above 0 and at most 50 %%.",
            ),
            models.CheckConstraint(
                condition=~Q(name__in=TAKEN),
                name="systemcomponent_name_of_its_own",
                violation_error_message="Resin and hardener are columns of the system itself.",
            ),
        ]  # fmt: skip

    def __str__(self) -> str:
        return f"{self.system}: {self.name}"

    def clean(self) -> None:
        """Refuse materials that cannot be one, and changes under work that is planned."""
        wrong = {}
        if self.material_id and self.material.kind not in KINDS:
            kinds = ", ".join(str(kind.label).lower() for kind in KINDS)
            kind = self.material.get_kind_display().lower()
            wrong["material"] = f"{self.material} is a {kind}; choose one of: {kinds}."
        elif self.material_id and self.material.unit != Unit.KG:
            wrong["material"] = f"{self.material} is counted in {self.material.unit}, not in kg."
        if wrong:
            raise ValidationError(wrong)
        words = self._why_not() if self.system_id else ""
        if words:
            raise ValidationError(words)

    def delete(self, *args: Any, **kwargs: Any) -> Any:
        """Take the component out of a system that was never mixed or planned."""
        if touched(EVER_USED, self.system_id):
            raise ShopError(self._stays(), "in_use")
        return super().delete(*args, **kwargs)

    def _why_not(self) -> str:
        """Return why it cannot be entered or changed to this; nothing where it can."""
        before = SystemComponent.objects.filter(pk=self.pk).first()
        if before is not None and before._mixed() == self._mixed():
            return ""
        used = bool(touched(EVER_USED, self.system_id))
        if before is not None and used and before._identity() != self._identity():
            return before._stays()
        if before is None and used and two_signatures():
            return (
                f"{self.system} is in use, and the company asks for a second signature. What it "
                "is mixed from stays; enter a new system for another mix."
            )
        planned = touched("shop.resinsystem", self.system_id)
        if not planned:
            return ""
        return (
            f"Work with {self.system} is planned: {'; '.join(planned)}. What it is mixed from "
            "can't change under it. Enter a new system, or take that work out of the plan."
        )

    def _identity(self) -> tuple[Any, ...]:
        return self.system_id, self.name, self.material_id

    def _mixed(self) -> tuple[Any, ...]:
        return *self._identity(), self.per_100, self.order

    def _stays(self) -> str:
        return (
            f"{self.system} has been mixed or planned: its {self.name} stays as the record of "
            "that. Enter a new system for another mix."
        )
