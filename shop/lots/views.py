"""REST: lots with their states, containers with their places."""

from __future__ import annotations

from typing import Any, ClassVar

from django.core.files.base import ContentFile
from django.http import FileResponse, Http404
from django_filters import rest_framework as filters
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework.decorators import action
from rest_framework.renderers import JSONRenderer

from shared import clock
from shared.api import viewsets
from shared.api.uploads import AnyFile, OneFile, Upload
from shared.times import happened
from shop.ledger.in_time import after_receipt
from shop.lots import actions
from shop.lots import serializers as forms
from shop.lots.certificates import MOST_BYTES
from shop.lots.models import Container, Lot
from shop.registers import change


class LotViewSet(
    viewsets.ListMixin, viewsets.RetrieveMixin, viewsets.PatchMixin, viewsets.SiteViewSet
):
    """Lots as received; a new one comes in by a receipt."""

    queryset = (
        Lot.objects.select_related("site", "material", "retested_by")
        .prefetch_related("containers")
        .order_by("expires_on", "code", "id")
    )
    serializer_class = forms.LotSerializer
    read_serializer_class = forms.LotSerializer
    scope_noun = "lots"
    scope_actions: ClassVar = {"retests": "shelf_life:write", "releases": "releases:write"}
    filterset_fields: ClassVar = {
        "material": ["exact"],
        "material__kind": ["exact"],
        "code": ["exact"],
        "status": ["exact"],
        "expires_on": ["gte", "lte"],
    }
    sort_fields = ("expires_on", "code", "received_on", "id")

    def perform_update(self, serializer: Any) -> None:
        """Change what is not decided by label, check or ledger."""
        serializer.instance = change(serializer.instance, **serializer.validated_data)

    @extend_schema(responses={201: forms.LotSerializer})
    @action(detail=True, methods=["post"], serializer_class=forms.HoldSerializer)
    def holds(self, request: Any, pk: Any = None) -> Any:
        """Stop a lot from being issued."""
        lot = self.get_object()

        def work(body: dict[str, Any]) -> Lot:
            actions.hold([lot.pk], **body)
            return self.get_object()

        return self.once(work)

    @extend_schema(responses={201: forms.LotSerializer})
    @action(detail=True, methods=["post"], serializer_class=forms.HoldSerializer)
    def releases(self, request: Any, pk: Any = None) -> Any:
        """Let a lot be used, and say on what grounds."""
        lot = self.get_object()
        return self.once(lambda body: actions.release(lot.pk, **body))

    @extend_schema(responses={201: forms.LotSerializer})
    @action(detail=True, methods=["post"], serializer_class=forms.RetestSerializer)
    def retests(self, request: Any, pk: Any = None) -> Any:
        """Extend a lot, once, on the evidence of a test."""
        lot = self.get_object()
        return self.once(
            lambda body: actions.retest(lot.pk, now=clock.now(), by=request.user, **body)
        )

    @extend_schema(responses={201: forms.LotSerializer})
    @action(
        detail=True,
        methods=["post"],
        url_path="expiry-corrections",
        serializer_class=forms.ExpiryCorrectionSerializer,
    )
    def expiry_corrections(self, request: Any, pk: Any = None) -> Any:
        """
        Put a mistyped expiry right, with the reason; the audit keeps what it was.

        A later day needs shelf_life:write and evidence, as a retest does.
        """
        lot = self.get_object()
        longer = self.access.may("shelf_life:write", lot.site_id)
        return self.once(
            lambda body: actions.correct_expiry(
                lot.pk, now=clock.now(), may_lengthen=longer, **body
            )
        )

    @extend_schema(responses={201: forms.LotSerializer})
    @action(
        detail=True,
        methods=["post"],
        serializer_class=forms.CertificateSerializer,
        parser_classes=[OneFile],
    )
    def certificates(self, request: Any, pk: Any = None) -> Any:
        """Keep the supplier's certificate with a lot; an earlier one is replaced."""
        lot, given = self.get_object(), request.data.get("file")
        read = None
        if isinstance(given, Upload):
            # Read before the key's row is claimed: a large PDF takes seconds.
            file = ContentFile(given.head(MOST_BYTES), name=given.name)
            read = actions.read_certificate(file)

        def work(body: dict[str, Any]) -> Lot:
            words = body["certificate"]
            return actions.attach_certificate(lot.pk, certificate=read, words=words)  # type: ignore[arg-type]

        return self.once(work)

    @extend_schema(responses={(200, "application/octet-stream"): OpenApiTypes.BINARY})
    @action(detail=True, renderer_classes=[AnyFile, JSONRenderer])
    def certificate(self, request: Any, pk: Any = None) -> FileResponse:
        """Return the supplier's certificate of a lot, to be kept and not to be shown."""
        kept = self.get_object().certificate_file
        if not kept:
            raise Http404("No certificate is kept with this lot.")
        return FileResponse(kept.open("rb"), as_attachment=True, content_type=AnyFile.media_type)


class ContainerFilter(filters.FilterSet):
    holds_stock = filters.BooleanFilter(field_name="balance", method="with_stock")

    class Meta:
        model = Container
        fields: ClassVar = {
            "lot": ["exact"],
            "lot__material": ["exact"],
            "lot__material__kind": ["exact"],
            "lot__status": ["exact"],
            "location": ["exact"],
            "code": ["exact"],
        }

    def with_stock(self, rows: Any, name: str, value: bool) -> Any:
        """Keep containers with something, or with nothing, in them."""
        return rows.filter(balance__gt=0) if value else rows.filter(balance=0)


class ContainerViewSet(viewsets.ListMixin, viewsets.RetrieveMixin, viewsets.SiteViewSet):
    """Cans, drums and packs; their balance follows from the ledger alone."""

    queryset = Container.objects.select_related("lot__site", "lot__material", "location")
    serializer_class = forms.ContainerSerializer
    read_serializer_class = forms.ContainerSerializer
    scope_noun = "lots"
    versioned = False
    filterset_class = ContainerFilter
    sort_fields = ("code", "balance", "id")

    @extend_schema(responses={201: forms.ContainerSerializer})
    @action(detail=True, methods=["post"], serializer_class=forms.OpeningSerializer)
    def openings(self, request: Any, pk: Any = None) -> Any:
        """Note that a container was opened; its open life begins."""
        row = self.get_object()

        def work(body: dict[str, Any]) -> Container:
            at = after_receipt(row, happened(body.get("at"), now=clock.now()), field="at")
            actions.open_container(row.pk, at=at)
            return self.get_object()

        return self.once(work)

    @extend_schema(responses={201: forms.ContainerSerializer})
    @action(detail=True, methods=["post"], serializer_class=forms.PlacingSerializer)
    def placements(self, request: Any, pk: Any = None) -> Any:
        """Put a container on another shelf."""
        row = self.get_object()

        def work(body: dict[str, Any]) -> Container:
            actions.place(row.pk, at=clock.now(), by=request.user, **body)
            return self.get_object()

        return self.once(work)
