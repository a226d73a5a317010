"""Patterns under /api/v1/patterns."""

from __future__ import annotations

from typing import Any

from django.http import HttpResponse
from drf_spectacular.utils import OpenApiTypes, extend_schema
from rest_framework.decorators import action
from rest_framework.renderers import JSONRenderer

from planning.patterns import actions
from planning.patterns.models import PatternMesh
from planning.patterns.pictures import picture_of
from planning.patterns.serializers import (
    NewPatternSerializer,
    PatternRowSerializer,
    PatternSerializer,
    SetupSerializer,
    UseSerializer,
)
from planning.patterns.uploads import PatternFile
from planning.pours.serializers import PourSerializer
from shared import clock
from shared.api import viewsets
from shared.api.uploads import AnyFile


class Png(AnyFile):
    """`image/png`, and problems as JSON where there is no picture."""

    media_type = "image/png"
    format = "png"


class PatternViewSet(
    viewsets.ListMixin,
    viewsets.RetrieveMixin,
    viewsets.CreateMixin,
    viewsets.DeleteMixin,
    viewsets.SiteViewSet,
):
    """Meshes of patterns: handed in as files, read by a worker, never in the request."""

    queryset = PatternMesh.objects.select_related("site").order_by("-id")
    serializer_class = PatternSerializer
    read_serializer_class = PatternSerializer
    scope_noun = "tool_orders"
    filterset_fields = {"state": ["exact"], "sha256": ["exact"]}
    sort_fields = ("id",)

    def get_serializer_class(self) -> Any:
        """Leave the long report out of lists."""
        kinds = {"list": PatternRowSerializer, "create": NewPatternSerializer}
        return kinds.get(self.action) or super().get_serializer_class()

    def get_parsers(self) -> list[Any]:
        """Read a form with a file where a pattern is handed in, JSON elsewhere."""
        handing_in = getattr(self, "action_map", {}).get("post") == "create"
        posted = getattr(self.request, "method", "POST") == "POST"
        return [PatternFile()] if handing_in and posted else super().get_parsers()

    def perform_create(self, serializer: Any) -> None:
        """Keep the file and have it examined; the answer does not wait for that."""
        values = dict(serializer.validated_data)
        file = values.pop("file")
        serializer.instance = actions.take_pattern(
            site=values.pop("site"),
            file_name=file.name,
            chunks=file.chunks(),
            name=values.pop("name", ""),
            setup=values,
            by=self.request.user,
            now=clock.now(),
        )

    def perform_destroy(self, row: PatternMesh) -> None:
        """Throw it away unless a pour was made from it."""
        actions.throw_away(pattern=row)

    @extend_schema(responses={202: PatternSerializer})
    @action(detail=True, methods=["post"], serializer_class=SetupSerializer)
    def examinations(self, request: Any, pk: Any = None) -> Any:
        """Examine it again with another unit, pull, box or with repair."""
        return self.once(
            lambda body: actions.examine_again(
                pattern=self.get_object(), changes=body, now=clock.now()
            ),
            status=202,
        )

    @extend_schema(responses={200: PourSerializer})
    @action(detail=True, methods=["post"], serializer_class=UseSerializer)
    def uses(self, request: Any, pk: Any = None) -> Any:
        """Give a pour the casting of one half: volume by height, depth and area to coat."""
        self.read_serializer_class = PourSerializer  # type: ignore[assignment]
        return self.once(
            lambda body: actions.use_for_pour(pattern=self.get_object(), **body), status=200
        )

    @extend_schema(responses={(200, "image/png"): OpenApiTypes.BINARY})
    @action(
        detail=True,
        url_path="pictures/(?P<view>above|below)",
        renderer_classes=[Png, JSONRenderer],
    )
    def pictures(self, request: Any, pk: Any = None, view: str = "above") -> HttpResponse:
        """Return the picture coloured by draft and undercut, seen from above or below."""
        return picture_of(self.get_object(), view)
