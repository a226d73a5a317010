"""REST: the trace from a lot or a tool."""

from __future__ import annotations

from typing import Any

from django.http import Http404
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.response import Response

from shared.api import fields, viewsets
from shared.api.problems import BadParameter
from shared.api.serializers import StrictSerializer
from shop.lots.models import Lot
from shop.page_forms import row_id
from shop.quantities import QuantityField
from shop.tools.models import Tool
from shop.trace import queries, shapes
from shop.waste.serializers import shown


def _taken(row: queries.Taken) -> dict[str, Any]:
    shown: dict[str, Any] = {
        "lot": str(row.lot.pk),
        "lot_code": row.lot.code,
        "material_code": row.lot.material.code,
        "kind": row.kind,
        "counterpart": row.counterpart,
        "quantity": QuantityField().to_representation((row.quantity, row.lot.material.unit)),
        "at": fields.MomentField().to_representation(row.at),
        "people": list(row.people),
    }
    if row.use is not None:
        shown["label"] = row.use.label
        shown["temperatures_c"] = {name: str(value) for name, value in row.use.temperatures}
        shown["people"] = sorted({*row.people, *row.use.people})
        shown["castings"] = [
            {
                "casting": part.casting,
                "label": part.label,
                "tool": str(part.tool_id) if part.tool_id else None,
                "mass_kg": None if part.mass_kg is None else f"{part.mass_kg:.4f}",
                "quarantine": list(part.doubts),
            }
            for part in row.use.parts
        ]
    return shown


class TraceView(viewsets.ScopedView):
    """From a lot to every tool and what is left of it, or from a tool back to every lot."""

    scope_noun = "trace"
    extra_parameters = ("lot", "tool")
    serializer_class = StrictSerializer

    @extend_schema(
        parameters=[
            OpenApiParameter("lot", str, description="Id of a lot."),
            OpenApiParameter("tool", str, description="Id of a tool."),
        ],
        responses={200: shapes.TRACE},
    )
    def get(self, request: Any) -> Any:
        """Return the trace."""
        asked = {n: request.query_params[n] for n in ("lot", "tool") if n in request.query_params}
        ids = [row_id(value) for value in asked.values()]
        if len(ids) != 1 or ids[0] is None:
            sentence = "Give the id of one lot or of one tool."
            raise BadParameter([{"parameter": "lot", "code": "required", "detail": sentence}])
        sites = self.access.sites_with("trace:read")
        if "lot" in asked:
            lots = Lot.objects.select_related("material", "site")
            lot = lots.filter(pk=ids[0], site__in=sites).first()
            if lot is None:
                raise Http404
            return Response(_lot_shown(queries.lot_trace(lot)))
        tool = Tool.objects.filter(pk=ids[0], site__in=sites).first()
        if tool is None:
            raise Http404
        trace = queries.tool_trace(tool)
        return Response(
            {
                "tool": str(tool.pk),
                "castings": list(trace.castings),
                "taken": [_taken(row) for row in trace.taken],
                "lots": [_lot(row) for row in trace.lots],
                "waste": [shown(row) for row in trace.waste],
            }
        )


def _lot(row: Lot) -> dict[str, str]:
    return {"id": str(row.pk), "code": row.code, "material_code": row.material.code}


def _lot_shown(trace: queries.LotTrace) -> dict[str, Any]:
    quantity = QuantityField().to_representation
    unit = trace.lot.material.unit
    return {
        "lot": str(trace.lot.pk),
        "mixed_into": [_lot(row) for row in trace.mixed_into],
        "mixed_from": [_lot(row) for row in trace.mixed_from],
        "received": quantity((trace.received, unit)),
        "taken": [_taken(row) for row in trace.taken],
        "lost": [_taken(row) for row in trace.lost],
        "waste": [shown(row) for row in trace.waste],
        "tools": [
            {"id": str(tool.pk), "code": tool.code, "name": tool.name, "status": tool.status}
            for tool in trace.tools
        ],
        "left": [
            {
                "container": str(row.pk),
                "code": row.code,
                "location": row.location.code if row.location else None,
                "balance": quantity((row.balance, unit)),
            }
            for row in trace.left
        ],
    }
