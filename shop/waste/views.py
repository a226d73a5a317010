"""REST: entries of hazardous waste, and the record of a month."""

from __future__ import annotations

from typing import Any, ClassVar

from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.decorators import action
from rest_framework.response import Response

from shared import clock
from shared.api import idempotency, viewsets
from shared.api.problems import BadParameter
from shared.errors import Invalid
from shop.keys import key_for
from shop.page_forms import month
from shop.waste import actions, queries
from shop.waste import serializers as forms
from shop.waste.models import WasteEntry
from shop.waste.shapes import RECORD


class WasteEntryViewSet(
    viewsets.ListMixin, viewsets.RetrieveMixin, viewsets.CreateMixin, viewsets.SiteViewSet
):
    """Residues, wipes, empty cans, solvent; only added. What is scrapped is a movement."""

    queryset = WasteEntry.objects.select_related("by", "site", "withdrawal")
    serializer_class = forms.WasteEntrySerializer
    read_serializer_class = forms.WasteEntrySerializer
    scope_noun = "movements"
    versioned = False
    filterset_fields: ClassVar = {
        "kind": ["exact"], "lot": ["exact"], "counterpart": ["exact"], "at": ["gte", "lt"],
    }  # fmt: skip
    sort_fields = ("at", "id")

    def perform_create(self, serializer: Any) -> None:
        """Enter it."""
        body = dict(serializer.validated_data)
        key = key_for(idempotency.principal(self.request), body.pop("client_reference", None))
        serializer.instance = actions.enter(key=key, by=self.request.user, **body)

    @extend_schema(responses={201: forms.WasteEntrySerializer})
    @action(detail=True, methods=["post"], serializer_class=forms.WasteWithdrawalSerializer)
    def withdrawals(self, request: Any, pk: str) -> Any:
        """Take back an entry that was wrong; it stays to be seen."""
        entry = self.get_object()

        def work(body: dict[str, Any]) -> WasteEntry:
            actions.withdraw(entry=entry, by=request.user, **body)
            return self.queryset.get(pk=entry.pk)

        return self.once(work)


class WasteRecordView(viewsets.ScopedView):
    """The record of hazardous waste of a month, by kind and mass, with lots where known."""

    scope_noun = "movements"
    extra_parameters: ClassVar = ("site", "month")
    serializer_class = forms.WasteWithdrawalSerializer
    pagination_class = None
    filter_backends = []

    @extend_schema(
        operation_id="waste_record",
        parameters=[
            OpenApiParameter("site", str, description="Code of the site; your only without it."),
            OpenApiParameter("month", str, description="Such as 2026-11; this one without it."),
        ],
        responses={200: RECORD},
    )
    def get(self, request: Any) -> Response:
        """Return each line of the month and the mass by kind."""
        site = self.site(request.query_params.get("site"))
        try:
            first, last = month(request.query_params.get("month"), clock.today(site))
        except Invalid as error:
            problem = {"parameter": "month", "code": error.problems[0].code}
            raise BadParameter([problem | {"detail": error.message}]) from error
        rows = queries.record(site, first, last)
        return Response(
            {
                "site": site.code,
                "month": f"{first:%Y-%m}",
                "totals": [
                    {
                        "kind": one.kind,
                        "mass_kg": f"{one.mass_kg:.4f}",
                        "lines": one.lines,
                        "lines_of_unknown_mass": one.unknown,
                    }
                    for one in queries.totals(rows)
                ],
                "items": [forms.shown(row) for row in rows],
            }
        )
