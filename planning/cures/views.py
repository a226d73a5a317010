"""Cure clocks, temperatures and demouldings under /api/v1/."""

from __future__ import annotations

from typing import Any

from django.http import HttpResponse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework.decorators import action
from rest_framework.renderers import JSONRenderer

from planning.clocks import actions as clocks
from planning.clocks import ovens
from planning.clocks.models import Cure, OvenStay, TemperatureReading
from planning.clocks.peaks import confirm_peak
from planning.cures import actions
from planning.cures.models import Demould
from planning.cures.serializers import (
    CureSerializer,
    DemouldSerializer,
    OvenStaySerializer,
    ReadingSerializer,
    SeenSerializer,
    WrongSerializer,
)
from shared import clock
from shared.api import idempotency, viewsets
from shared.api.access import must_be_person
from shared.api.uploads import OneFile
from shared.photos.forms import Jpeg, PhotoSerializer, cleaned, jpeg


class CureViewSet(viewsets.ListMixin, viewsets.RetrieveMixin, viewsets.SiteViewSet):
    """Clocks of poured lifts; they move as temperatures come in."""

    queryset = (
        Cure.objects.select_related("lift__pour__order__site")
        .prefetch_related("lift__pour__lifts__cure")
        .order_by("id")
    )
    serializer_class = CureSerializer
    scope_noun = "cures"
    filterset_fields = {
        "lift__pour": ["exact"],
        "done_at": ["isnull"],
        "demould_due_at": ["gte", "lt"],
    }
    sort_fields = ("demould_due_at", "id")

    @extend_schema(responses={201: CureSerializer})
    @action(detail=True, methods=["post"], serializer_class=SeenSerializer)
    def peaks(self, request: Any, pk: Any = None) -> Any:
        """Say that the lift's hottest moment is over; the reminder of it then ends."""
        self.read_serializer_class = CureSerializer

        def work(body: dict[str, Any]) -> Cure:
            now = clock.now()
            return confirm_peak(
                cure=self.get_object(), now=now, by=request.user, **{"at": now, **body}
            )

        return self.once(work)


class TemperatureViewSet(
    viewsets.BulkMixin, viewsets.ListMixin, viewsets.CreateMixin, viewsets.SiteViewSet
):
    """Temperatures really seen, one or many at a time; never changed."""

    queryset = TemperatureReading.objects.select_related("site", "wrong").order_by("id")
    serializer_class = ReadingSerializer
    read_serializer_class = ReadingSerializer
    scope_noun = "cures"
    filterset_fields = {"pour": ["exact"], "where": ["exact"], "at": ["gte", "lt"]}

    def perform_create(self, serializer: Any) -> None:
        """Write one temperature down."""
        (serializer.instance,) = self._log([{**serializer.validated_data}])

    def perform_bulk(self, items: list[dict[str, Any]]) -> list[TemperatureReading]:
        """Write many temperatures down, or none."""
        return self._log([{**item, "pointer": f"items/{n}/"} for n, item in enumerate(items)])

    @extend_schema(responses={201: ReadingSerializer})
    @action(detail=True, methods=["post"], serializer_class=WrongSerializer)
    def withdrawals(self, request: Any, pk: Any = None) -> Any:
        """Mark a temperature wrong: it stays to be seen, and no longer counts."""

        def work(body: dict[str, Any]) -> TemperatureReading:
            return clocks.mark_wrong(
                reading=self.get_object(), now=clock.now(), by=request.user, **body
            )

        return self.once(work)

    def _log(self, items: list[dict[str, Any]]) -> list[TemperatureReading]:
        key = f"{idempotency.principal(self.request)}:{idempotency.read_key(self.request)}"
        by_site: dict[int, list[dict[str, Any]]] = {}
        for n, item in enumerate(items):
            site = item.pop("site")
            by_site.setdefault(site.pk, []).append({**item, "key": f"{key[:110]}:{n}"})
        found = []
        for site_id, rows in by_site.items():
            found += clocks.log_temperatures(
                site_id=site_id, rows=rows, now=clock.now(), by=self.request.user
            )
        return found


class OvenStayViewSet(
    viewsets.ListMixin, viewsets.RetrieveMixin, viewsets.CreateMixin, viewsets.SiteViewSet
):
    """Castings in ovens: in at a setting, and out; the clocks count with both."""

    queryset = OvenStay.objects.select_related("pour__order__site").order_by("id")
    serializer_class = OvenStaySerializer
    scope_noun = "cures"
    filterset_fields = {"pour": ["exact"], "out_at": ["isnull"]}

    def perform_create(self, serializer: Any) -> None:
        """Record that a casting went into an oven."""
        now = clock.now()
        key = f"{idempotency.principal(self.request)}:{idempotency.read_key(self.request)}"[:120]
        serializer.instance = ovens.into_oven(
            key=key, now=now, by=self.request.user, **{"at": now, **serializer.validated_data}
        )

    @extend_schema(responses={201: OvenStaySerializer})
    @action(detail=True, methods=["post"], serializer_class=SeenSerializer)
    def outs(self, request: Any, pk: Any = None) -> Any:
        """Record that it came out of the oven; its cooling starts then."""
        self.read_serializer_class = OvenStaySerializer

        def work(body: dict[str, Any]) -> OvenStay:
            now = clock.now()
            return ovens.out_of_oven(
                stay=self.get_object(), now=now, by=request.user, **{"at": now, **body}
            )

        return self.once(work)

    @extend_schema(responses={201: OvenStaySerializer})
    @action(detail=True, methods=["post"], serializer_class=WrongSerializer)
    def withdrawals(self, request: Any, pk: Any = None) -> Any:
        """Mark a stay wrong: it stays to be seen, and no longer counts."""
        self.read_serializer_class = OvenStaySerializer

        def work(body: dict[str, Any]) -> OvenStay:
            return ovens.mark_stay_wrong(
                stay=self.get_object(), now=clock.now(), by=request.user, **body
            )

        return self.once(work)


class DemouldViewSet(
    viewsets.ListMixin, viewsets.RetrieveMixin, viewsets.CreateMixin, viewsets.SiteViewSet
):
    """Demouldings; the tool's record follows each."""

    queryset = Demould.objects.select_related("pour__order__site").order_by("id")
    serializer_class = DemouldSerializer
    scope_noun = "cures"
    filterset_fields = {"pour": ["exact"], "verdict": ["exact"]}

    def perform_create(self, serializer: Any) -> None:
        """Record a demoulding; one before its time is a person's judgement."""
        if serializer.validated_data.get("early_reason"):
            must_be_person(self.access, "Demoulding before the clock says so")
        now = clock.now()
        key = f"{idempotency.principal(self.request)}:{idempotency.read_key(self.request)}"[:120]
        serializer.instance = actions.demould(
            key=key, now=now, by=self.request.user, **{"at": now, **serializer.validated_data}
        )

    @extend_schema(responses={201: DemouldSerializer})
    @action(
        detail=True, methods=["post"], serializer_class=PhotoSerializer, parser_classes=[OneFile]
    )
    def photos(self, request: Any, pk: Any = None) -> Any:
        """Add the photo of a demoulding; there is one, and it is never replaced."""
        self.read_serializer_class = DemouldSerializer
        return self.once(
            lambda body: actions.add_photo(record=self.get_object(), photo=cleaned(body["file"]))
        )

    @extend_schema(responses={(200, "image/jpeg"): OpenApiTypes.BINARY})
    @action(detail=True, renderer_classes=[Jpeg, JSONRenderer])
    def photo(self, request: Any, pk: Any = None) -> HttpResponse:
        """Return the photo of a demoulding."""
        return jpeg(self.get_object().photo)
