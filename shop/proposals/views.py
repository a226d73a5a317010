"""Purchase proposals under /api/v1/: worked out, approved, refused."""

from __future__ import annotations

from typing import Any, ClassVar

from drf_spectacular.utils import extend_schema
from rest_framework.decorators import action

from shared.api import viewsets
from shared.api.serializers import StrictSerializer
from shop.proposals import actions
from shop.proposals import serializers as forms
from shop.proposals.models import PurchaseProposal
from shop.purchasing.models import PurchaseOrder
from shop.purchasing.serializers import OrderSerializer


class ProposalViewSet(viewsets.ListMixin, viewsets.RetrieveMixin, viewsets.SiteViewSet):
    """What the shop should buy and why; POST works it out anew."""

    queryset = PurchaseProposal.objects.select_related("site", "supplier", "material").order_by(
        "order_on", "id"
    )
    serializer_class = forms.ProposalSerializer
    scope_noun = "purchases"
    scope_actions: ClassVar = {"approvals": "approvals:write"}
    filterset_fields: ClassVar = {
        "status": ["exact"],
        "supplier": ["exact"],
        "material": ["exact"],
        "order_on": ["lte"],
    }
    sort_fields = ("order_on", "id")

    def get_serializer_class(self) -> Any:
        """Ask for a run by its own form."""
        return forms.RunSerializer if self.action == "create" else super().get_serializer_class()

    @extend_schema(responses={201: forms.RunAnswerSerializer})
    def create(self, request: Any) -> Any:
        """Work proposals out anew; those that nobody has decided give way."""
        return self.once(self._run)

    def _run(self, body: dict[str, Any]) -> dict[str, Any]:
        found = actions.work_out(site=body["site"], days=body["days"])
        ids = [row.pk for row in found.proposals]
        rows = PurchaseProposal.objects.select_related("site", "supplier", "material").filter(
            pk__in=ids
        )
        shown = forms.ProposalSerializer(rows, many=True, context=self.get_serializer_context())
        return {
            "items": shown.data,
            "no_offer": [
                {"material": str(material.pk), "material_code": material.code}
                for material in found.no_offer
            ],
            "impossible": [
                {"material": str(material.pk), "material_code": material.code, "reason": why}
                for material, why in found.impossible
            ],
            "not_in_time": [
                {"material": str(material.pk), "material_code": material.code}
                for material in found.not_in_time
            ],
        }

    @extend_schema(responses={201: OrderSerializer})
    @action(detail=True, methods=["post"], serializer_class=StrictSerializer)
    def approvals(self, request: Any, pk: Any = None) -> Any:
        """Agree to a proposal; it becomes a line of an approved order, which is the answer."""
        self.read_serializer_class = OrderSerializer

        def work(body: dict[str, Any]) -> PurchaseOrder:
            row = self.get_object()
            (order,) = actions.approve(site=row.site, proposal_ids=[row.pk], by=request.user)
            return PurchaseOrder.objects.prefetch_related("lines__material").get(pk=order.pk)

        return self.once(work)

    @extend_schema(responses={201: forms.ProposalSerializer})
    @action(detail=True, methods=["post"], serializer_class=forms.RefusalSerializer)
    def refusals(self, request: Any, pk: Any = None) -> Any:
        """Turn a proposal down, with a reason."""
        self.read_serializer_class = forms.ProposalSerializer

        def work(body: dict[str, Any]) -> PurchaseProposal:
            row = self.get_object()
            actions.refuse(
                site=row.site, proposal_ids=[row.pk], reason=body["reason"], by=request.user
            )
            row.refresh_from_db()
            return row

        return self.once(work)
