"""REST: goods sent to another site, and goods that arrive from one."""

from __future__ import annotations

from typing import Any, ClassVar

from drf_spectacular.utils import extend_schema
from rest_framework.decorators import action

from shared.access.models import Site
from shared.api import idempotency, viewsets
from shared.errors import Invalid
from shop.consignments import actions
from shop.consignments import serializers as forms
from shop.consignments.actions import Came
from shop.consignments.models import Arrival, Consignment
from shop.keys import key_for

LINES = ("source__lot__material", "transit")


class ConsignmentViewSet(viewsets.ListMixin, viewsets.RetrieveMixin, viewsets.SiteViewSet):
    """Goods sent to another site; they are on the way until received there or taken back."""

    queryset = Consignment.objects.select_related("site", "to_site").prefetch_related(
        *(f"lines__{name}" for name in LINES)
    )
    serializer_class = forms.ConsignmentSerializer
    read_serializer_class = forms.ConsignmentSerializer
    scope_noun = "movements"
    versioned = False
    filterset_fields: ClassVar = {"status": ["exact"]}
    sort_fields = ("sent_at", "id")

    def get_serializer_class(self) -> Any:
        """Read a new consignment in its own form."""
        return forms.NewConsignmentSerializer if self.action == "create" else self.serializer_class

    @extend_schema(responses={201: forms.ConsignmentSerializer})
    def create(self, request: Any) -> Any:
        """Send goods; only what nothing is reserved from."""

        def work(body: dict[str, Any]) -> Consignment:
            reference = body.get("client_reference")
            made = actions.send(
                site=body["site"],
                to_site=_site(body["to_site"]),
                goods=[(one["container"], one["quantity"]) for one in body["goods"]],
                key=key_for(idempotency.principal(request), reference),
                by=request.user,
                words=body["words"],
                due_on=body["due_on"],
            )
            return self.queryset.get(pk=made.pk)

        return self.once(work)

    @extend_schema(responses={201: forms.ConsignmentSerializer})
    @action(detail=True, methods=["post"], serializer_class=forms.NothingSerializer)
    def returns(self, request: Any, pk: str) -> Any:
        """Take back what is still on the way."""
        found = self.get_object()

        def work(body: dict[str, Any]) -> Consignment:
            actions.take_back(consignment=found, by=request.user)
            return self.queryset.get(pk=found.pk)

        return self.once(work)


class ArrivalViewSet(viewsets.ListMixin, viewsets.RetrieveMixin, viewsets.SiteViewSet):
    """Goods that come, or came, from another site."""

    queryset = Arrival.objects.select_related(
        "site", "consignment__site", "consignment__to_site"
    ).prefetch_related(*(f"consignment__lines__{name}" for name in LINES))
    serializer_class = forms.ArrivalSerializer
    read_serializer_class = forms.ArrivalSerializer
    scope_noun = "movements"
    versioned = False
    filterset_fields: ClassVar = {"consignment__status": ["exact"]}
    sort_fields = ("id",)

    @extend_schema(responses={201: forms.ArrivalSerializer})
    @action(detail=True, methods=["post"], serializer_class=forms.ArrivalReceiptSerializer)
    def receipts(self, request: Any, pk: str) -> Any:
        """Take in what has come, in full, in part, or short."""
        found, key = self.get_object(), key_for("", None)

        def work(body: dict[str, Any]) -> Arrival:
            lines = {str(line.pk): line for line in found.consignment.lines.all()}
            came = []
            for n, one in enumerate(body["lines"]):
                line = lines.get(str(one["line"]))
                if line is None:
                    words = f"line {one['line']} is not of {found}."
                    raise Invalid.one(f"lines/{n}/line", "does_not_exist", words)
                came.append(Came(line, one["quantity"], one["location"]))
            actions.receive(
                arrival=found, came=came, key=key, by=request.user, short=body["short"],
                words=body["words"],
            )  # fmt: skip
            return self.queryset.get(pk=found.pk)

        return self.once(work)


def _site(code: str) -> Site:
    found = Site.objects.filter(code=code).first()
    if found is None:
        words = f"to_site is {code!r}; there is no site of that code."
        raise Invalid.one("to_site", "does_not_exist", words, value=code)
    return found
