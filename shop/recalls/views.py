"""REST: recalls, and their lifting."""

from __future__ import annotations

from typing import Any, ClassVar

from drf_spectacular.utils import extend_schema
from rest_framework.decorators import action

from shared import clock
from shared.api import viewsets
from shop.lots.models import Lot, LotStatus
from shop.recalls import actions
from shop.recalls import serializers as forms
from shop.recalls.models import Recall


class RecallViewSet(viewsets.ListMixin, viewsets.RetrieveMixin, viewsets.SiteViewSet):
    """Lots that may not be used, whatever arrives of them later, until the recall is lifted."""

    queryset = (
        Recall.objects.select_related("site", "by", "lifted_by")
        .prefetch_related("stops")
        .order_by("-id")
    )
    serializer_class = forms.RecallSerializer
    read_serializer_class = forms.RecallSerializer
    scope_noun = "lots"
    scope_actions: ClassVar = {"liftings": "releases:write"}
    versioned = False
    filterset_fields: ClassVar = {
        "material": ["exact"],
        "lot_code": ["exact"],
        "lifted_at": ["isnull"],
    }
    sort_fields = ("at", "id")

    def get_serializer_class(self) -> Any:
        """Read a new recall in its own form."""
        return forms.NewRecallSerializer if self.action == "create" else self.serializer_class

    @extend_schema(responses={201: forms.RecalledSerializer})
    def create(self, request: Any) -> Any:
        """
        Recall a lot: it and every lot that went into the same castings are held.

        The answer names in `lots` what is held at the site.
        """

        def work(body: dict[str, Any]) -> dict[str, Any]:
            about = {"reason": body["reason"], "at": clock.now(), "by": request.user}
            if "lot" in body:
                found = actions.recall(lot_id=body["lot"].pk, **about)
            else:
                about |= {"material": body["material"], "lot_code": body["lot_code"]}
                found = actions.recall_code(site=body["site"], **about)
            return {**self._row(found), "lots": _held(found)}

        return self.once(work)

    def _row(self, found: Recall) -> dict[str, Any]:
        row = self.queryset.get(pk=found.pk)
        return dict(forms.RecallSerializer(row, context=self.get_serializer_context()).data)

    @extend_schema(responses={201: forms.RecallSerializer})
    @action(detail=True, methods=["post"], serializer_class=forms.LiftingSerializer)
    def liftings(self, request: Any, pk: Any = None) -> Any:
        """Lift a recall; its lots stay held until each is released."""
        found = self.get_object()
        return self.once(
            lambda body: self._row(
                actions.lift(found.pk, reason=body["reason"], at=clock.now(), by=request.user)
            )
        )


def _held(found: Recall) -> list[dict[str, str]]:
    codes = {(stop.material_id, stop.code) for stop in found.stops.all()}
    lots = Lot.objects.filter(
        site=found.site_id,
        status=LotStatus.HELD,
        material__in={material for material, _ in codes},
    )
    return [
        {"id": str(lot.pk), "code": lot.code}
        for lot in lots.order_by("pk")
        if (lot.material_id, lot.code.upper()) in codes
    ]
