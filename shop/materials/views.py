"""REST: suppliers, materials, packs, learned codes and resin systems."""

from __future__ import annotations

from typing import Any, ClassVar

from shared import clock
from shop.materials import serializers as forms
from shop.materials.components import SystemComponent
from shop.materials.models import LearnedCode, Material, Pack, ResinSystem
from shop.materials.suppliers import Supplier, SupplierClosure
from shop.registers import enter
from shop.registers_api import CatalogueViewSet, GuardedViewSet


class SupplierViewSet(GuardedViewSet):
    """Who the shop buys from."""

    queryset = Supplier.objects.all()
    serializer_class = forms.SupplierSerializer
    scope_noun = "materials"
    filterset_fields: ClassVar = {"code": ["exact"]}
    sort_fields = ("code", "name", "id")


class SupplierClosureViewSet(CatalogueViewSet):
    """Holidays and shutdowns of suppliers, on which they take no order and deliver nothing."""

    queryset = SupplierClosure.objects.all()
    serializer_class = forms.SupplierClosureSerializer
    scope_noun = "materials"
    versioned = False
    filterset_fields: ClassVar = {"supplier": ["exact"]}
    sort_fields = ("first_day", "id")


class MaterialViewSet(GuardedViewSet):
    """Things bought: resins, hardeners, release agents, fillers, barriers, consumables."""

    queryset = Material.objects.all()
    serializer_class = forms.MaterialSerializer
    scope_noun = "materials"
    filterset_fields: ClassVar = {"code": ["exact"], "kind": ["exact"]}
    sort_fields = ("code", "name", "id")


class PackViewSet(GuardedViewSet):
    """Packs in which suppliers sell materials, with their price breaks."""

    queryset = Pack.objects.all()
    serializer_class = forms.PackSerializer
    scope_noun = "materials"
    versioned = False
    filterset_fields: ClassVar = {"material": ["exact"], "supplier": ["exact"], "gtin": ["exact"]}
    sort_fields = ("material", "supplier", "content", "id")


class LearnedCodeViewSet(CatalogueViewSet):
    """Suppliers' plain barcodes that were matched to a material."""

    queryset = LearnedCode.objects.all()
    serializer_class = forms.LearnedCodeSerializer
    scope_noun = "materials"
    scope_actions: ClassVar = {"create": "movements:write"}
    company_actions = frozenset({"partial_update", "destroy"})
    versioned = False
    filterset_fields: ClassVar = {"supplier": ["exact"], "text": ["exact"]}

    def perform_create(self, serializer: Any) -> None:
        """Learn a code; whoever takes goods in may do that."""
        serializer.instance = enter(
            LearnedCode,
            learned_at=clock.now(),
            by=self.request.user,
            **serializer.validated_data,
        )


class SystemComponentViewSet(GuardedViewSet):
    """Filler, accelerator, pigment: what a resin system has beside resin and hardener."""

    queryset = SystemComponent.objects.order_by("id")
    serializer_class = forms.SystemComponentSerializer
    scope_noun = "materials"
    filterset_fields: ClassVar = {"system": ["exact"], "material": ["exact"]}
    sort_fields = ("system", "order", "id")


class ResinSystemViewSet(GuardedViewSet):
    """Resin and hardener meant for each other, each value with its source."""

    queryset = ResinSystem.objects.select_related("hardener").prefetch_related("further__material")
    serializer_class = forms.ResinSystemSerializer
    scope_noun = "materials"
    filterset_fields: ClassVar = {"code": ["exact"], "resin": ["exact"], "hardener": ["exact"]}
    sort_fields = ("code", "name", "id")
