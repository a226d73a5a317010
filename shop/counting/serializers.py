"""The JSON form of counts; blind until complete."""

from __future__ import annotations

from typing import Any, ClassVar

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from shared.api import fields, shapes
from shared.api.serializers import StrictModelSerializer, StrictSerializer
from shop.counting import queries
from shop.counting.models import CountLine, CycleCount
from shop.lots.models import Container
from shop.quantities import AMOUNT, QuantityField
from shop.sites.models import Location

LINE = shapes.obj(
    container=shapes.ID,
    code=shapes.TEXT,
    found_here=shapes.YES_NO,
    wanted=shapes.told(shapes.one_of("first", "second", ""), "The figure that is still wanted."),
    counted=shapes.absent(AMOUNT),
    expected=shapes.absent(AMOUNT),
    variance=shapes.absent(AMOUNT),
)


class CycleCountSerializer(StrictModelSerializer):
    location = fields.RelatedIdField(queryset=Location.objects.all())
    complete = serializers.SerializerMethodField()
    lines = serializers.SerializerMethodField()

    class Meta:
        model = CycleCount
        fields: ClassVar = [
            "id", "site", "location", "status", "tolerance_percent", "started_at", "approved_at",
            "complete", "lines", "etag",
        ]  # fmt: skip
        read_only_fields = ("site", "status", "started_at", "approved_at")

    def get_complete(self, count: CycleCount) -> bool:
        """Tell whether nothing more is to be counted."""
        return all(
            line.first is not None and not (line.second_wanted and line.second is None)
            for line in count.lines.all()
        )

    @extend_schema_field(shapes.rows(LINE))
    def get_lines(self, count: CycleCount) -> Any:
        """Return the containers; figures and differences only once all are counted."""
        complete = self.get_complete(count)
        return [_line(line, complete) for line in count.lines.all()]


def _line(line: CountLine, complete: bool) -> dict[str, Any]:
    shown: dict[str, Any] = {
        "container": str(line.container_id),
        "code": line.container.code,
        "found_here": line.found_here,
        "wanted": "first" if line.first is None else "",
    }
    if line.first is not None and line.second_wanted and line.second is None:
        shown["wanted"] = "second"
    if complete:
        unit = line.container.lot.material.unit
        quantity = QuantityField().to_representation
        shown |= {
            "counted": quantity((queries.counted(line), unit)),
            "expected": quantity((line.expected, unit)),
            "variance": quantity((queries.variance(line), unit)),
        }
    return shown


class FigureSerializer(StrictSerializer):
    container = fields.RelatedIdField(queryset=Container.objects.select_related("lot__material"))
    quantity = QuantityField()


class NothingSerializer(StrictSerializer):
    """An empty body."""
