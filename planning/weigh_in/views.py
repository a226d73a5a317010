"""Batches with their weigh-ins and log under /api/v1/batches."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any, ClassVar

from django.http import HttpResponse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.decorators import action
from rest_framework.renderers import JSONRenderer
from rest_framework.response import Response

from planning.batch_sheets import actions as batch_sheets
from planning.batches.models import Batch, BatchEntry, EntryKind
from planning.weigh_in import actions, amending, contents, quarantine
from planning.weigh_in.gate import Passing
from planning.weigh_in.gate_state import gate_of
from planning.weigh_in.mix_reading import with_mix
from planning.weigh_in.serializers import (
    AmendmentSerializer,
    CorrectionSerializer,
    EntrySerializer,
    GateSerializer,
    LiveBatchSerializer,
    NewAmendmentSerializer,
    NewEntrySerializer,
    NewWeighingSerializer,
    WeighedSerializer,
    WeighingSerializer,
)
from shared import clock
from shared.api import idempotency, viewsets
from shared.api.uploads import OneFile
from shared.errors import Invalid
from shared.photos.forms import Jpeg, WordedPhotoSerializer, cleaned, jpeg


class BatchViewSet(
    viewsets.ListMixin, viewsets.RetrieveMixin, viewsets.PatchMixin, viewsets.SiteViewSet
):
    """Batches; a PATCH may only pin one, so that a new plan leaves it where it is."""

    queryset = (
        Batch.objects.select_related("site", "scale")
        .prefetch_related(
            "people",
            "lines__container__lot",
            "lines__weighings__amendments",
            "portions__lift",
            "entries__by",
        )
        .order_by("id")
    )
    serializer_class = LiveBatchSerializer
    scope_noun = "batches"
    scope_actions: ClassVar[dict[str, str]] = {
        "weighings": "weighings:write",
        "entries": "weighings:write",
        "amendments": "weighings:write",
        "photos": "weighings:write",
        "correction": "weighings:read",
        "gate": "weighings:read",
    }
    filterset_fields = {
        "status": ["exact"],
        "number": ["exact"],
        "plan": ["exact"],
        "planned_start": ["gte", "lt"],
    }
    sort_fields = ("planned_start", "id")

    def get_queryset(self) -> Any:
        """Return the batches; with what belongs to them only where it is shown."""
        rows = super().get_queryset()
        writes = self.action in ("weighings", "amendments", "entries", "photos", "photo")
        return rows.prefetch_related(None) if writes else rows

    def perform_update(self, serializer: Any) -> None:
        """Pin a batch or let it go."""
        pinned = serializer.validated_data.get("pinned", serializer.instance.pinned)
        serializer.instance = batch_sheets.pin(batch=serializer.instance, pinned=pinned)

    def _key(self) -> str:
        return f"{idempotency.principal(self.request)}:{idempotency.read_key(self.request)}"[:120]

    @extend_schema(responses={201: WeighedSerializer})
    @action(detail=True, methods=["post"], serializer_class=NewWeighingSerializer)
    def weighings(self, request: Any, pk: Any = None) -> Any:
        """Record what was weighed for a row; answers what to add when the ratio is off."""

        def work(body: dict[str, Any]) -> dict[str, Any]:
            batch, now = self.get_object(), clock.now()
            if body["line"].batch_id != batch.pk:
                raise Invalid.one(
                    "line", "other_batch", f"line is not a row of batch {batch.number}."
                )
            values = {"at": now, **body}
            passing = Passing(values.pop("gate_reason"), values.pop("decided_by"))
            result = actions.record_weighing(
                key=self._key(), now=now, by=request.user, passing=passing, **values
            )
            return {
                "weighing": WeighingSerializer(result.weighing).data,
                "ready": result.ready,
                "correction": result.correction and _correction(result.correction),
            }

        return self.once(work)

    @extend_schema(responses={201: AmendmentSerializer})
    @action(detail=True, methods=["post"], serializer_class=NewAmendmentSerializer)
    def amendments(self, request: Any, pk: Any = None) -> Any:
        """Put a weighing right; answers how far the ratio was off and which castings are held."""

        def work(body: dict[str, Any]) -> dict[str, Any]:
            batch, weighing = self.get_object(), body.pop("weighing")
            if weighing.line.batch_id != batch.pk:
                raise Invalid.one(
                    "weighing", "other_batch", f"weighing is not of batch {batch.number}."
                )
            row = amending.amend_weighing(
                weighing=weighing, key=self._key(), now=clock.now(), by=request.user, **body
            )
            told = {
                **{name: getattr(row, name) for name in ("from_kg", "to_kg", "reason", "at")},
                "id": str(row.pk),
                "off_percent": contents.ratio_off_percent(batch),
                "quarantined": [str(one) for one in quarantine.in_quarantine(batch)],
            }
            return dict(AmendmentSerializer(told).data)

        return self.once(work)

    @extend_schema(responses={201: EntrySerializer})
    @action(detail=True, methods=["post"], serializer_class=NewEntrySerializer)
    def entries(self, request: Any, pk: Any = None) -> Any:
        """Add an entry: first contact, poured, conditions, scrapped pot, remark, amendment."""
        self.read_serializer_class = EntrySerializer

        def work(body: dict[str, Any]) -> BatchEntry:
            batch, now = self.get_object(), clock.now()
            for name in ("portion", "amends", "line"):
                row = body.get(name)
                if row is not None and row.batch_id != batch.pk:
                    raise Invalid.one(
                        name, "other_batch", f"{name} does not belong to batch {batch.number}."
                    )
            values = {"at": now, **body}
            facts = {n: str(v) for n, v in values.pop("facts", {}).items()}
            facts = with_mix(facts, batch, confirmed=values.pop("confirmed"))
            passing = Passing(
                values.pop("gate_reason"), values.pop("decided_by"), values.pop("already")
            )
            return actions.record_entry(
                batch=batch,
                key=self._key(),
                now=now,
                by=request.user,
                facts=facts,
                passing=passing,
                **values,
            )

        return self.once(work)

    @extend_schema(responses={201: EntrySerializer})
    @action(
        detail=True,
        methods=["post"],
        serializer_class=WordedPhotoSerializer,
        parser_classes=[OneFile],
    )
    def photos(self, request: Any, pk: Any = None) -> Any:
        """Add a photo to the log; it is made anew, upright, small, without place or name."""
        self.read_serializer_class = EntrySerializer

        def work(body: dict[str, Any]) -> BatchEntry:
            now = clock.now()
            return actions.record_entry(
                batch=self.get_object(),
                kind=EntryKind.REMARK,
                key=self._key(),
                at=now,
                now=now,
                by=request.user,
                words=body["words"],
                photo=cleaned(body["file"]),
            )

        return self.once(work)

    @extend_schema(
        parameters=[OpenApiParameter("entry", OpenApiTypes.INT, OpenApiParameter.PATH)],
        responses={(200, "image/jpeg"): OpenApiTypes.BINARY},
    )
    @action(
        detail=True,
        url_path="photos/(?P<entry>[0-9]{1,18})",
        renderer_classes=[Jpeg, JSONRenderer],
    )
    def photo(self, request: Any, pk: Any = None, entry: str = "") -> HttpResponse:
        """Return the photo of an entry of the log."""
        row = self.get_object().entries.filter(pk=int(entry)).first()
        return jpeg(None if row is None else row.photo)

    @extend_schema(responses={200: GateSerializer})
    @action(detail=True, methods=["get"])
    def gate(self, request: Any, pk: Any = None) -> Response:
        """Return what stands in the way of mixing and pouring now, and what each portion gets."""
        return Response(GateSerializer(gate_of(self.get_object(), clock.now())).data)

    @extend_schema(responses={200: CorrectionSerializer, 204: None})
    @action(detail=True, methods=["get"])
    def correction(self, request: Any, pk: Any = None) -> Response:
        """Return how the pot stands against its ratio; 204 while nothing is weighed."""
        found = contents.correction_of(self.get_object())
        return Response(status=204) if found is None else Response(_correction(found))


def _correction(found: Any) -> dict[str, Any]:
    return {**asdict(found), "problems": list(found.problems)}
