"""The calculators under /api/v1/workbench/: one address each, GET, nothing stored."""

from __future__ import annotations

from typing import Any

from django.forms import Form
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.response import Response

from planning.workbench import shapes
from planning.workbench.calculators import CALCULATORS, Calculator
from planning.workbench.fields import Choice, Quantity
from shared.api.filters import FIELDS
from shared.api.problems import BadParameter
from shared.api.viewsets import ScopedView


def problems_of(form: Form) -> list[dict[str, str]]:
    """Return every refusal of a form as the API tells them."""
    found = []
    for name, errors in form.errors.as_data().items():
        for error in errors:
            one = {"code": error.code or "refused", "detail": " ".join(error.messages)}
            if name != "__all__":
                one["parameter"] = name
            found.append(one | getattr(error, "facts", {}))
    return found


def _parameter(name: str, field: Any) -> OpenApiParameter:
    listed = None
    if isinstance(field, Choice) and name != "system":
        listed = field.keys
    words = [str(field.label)]
    if isinstance(field, Quantity):
        words.append(field.bounds)
    if field.help_text:
        words.append(str(field.help_text).rstrip("."))
    return OpenApiParameter(
        name,
        OpenApiTypes.STR,
        required=field.required,
        enum=listed,
        description=". ".join(words) + ".",
    )


def view_of(calculator: Calculator) -> Any:
    """Return the view of one calculator, with its parameters in the description of the API."""
    fields = calculator.form.base_fields

    class CalculatorView(ScopedView):
        scope_noun = "calculations"
        extra_parameters = tuple(fields)
        __doc__ = calculator.intro

        @extend_schema(
            operation_id=f"workbench_{calculator.name.replace('-', '_')}",
            description=calculator.intro,
            parameters=[_parameter(name, field) for name, field in fields.items()],
            responses={200: shapes.shape_of(calculator.name)},
        )
        def get(self, request: Any) -> Response:
            given = {k: v for k, v in request.query_params.items() if k != FIELDS}
            form = calculator.bound(given)
            answer = calculator.answer(form)
            if answer is None:
                raise BadParameter(problems_of(form))
            data = answer.data | {
                "notes": [{"tone": note.tone, "words": note.words} for note in answer.notes],
                "hazard_statements": list(answer.hazard_codes),
            }
            wanted = request.query_params.get(FIELDS)
            if wanted:
                data = _only(data, wanted.split(","))
            return Response(data)

    return CalculatorView.as_view()


def _only(data: dict[str, Any], wanted: list[str]) -> dict[str, Any]:
    unknown = [name for name in wanted if name not in data]
    if unknown:
        raise BadParameter([{
            "parameter": FIELDS, "code": "unknown",
            "detail": f"fields names {unknown[0][:60]!r}; this answer has {', '.join(data)}.",
        }])  # fmt: skip
    return {name: data[name] for name in wanted}


class WorkbenchView(ScopedView):
    """The calculators there are."""

    scope_noun = "calculations"

    @extend_schema(operation_id="workbench", responses={200: shapes.CALCULATORS})
    def get(self, request: Any) -> Response:
        """List the calculators with what each asks for."""
        return Response({"items": [
            {
                "name": one.name, "title": one.title, "about": one.intro,
                "parameters": list(one.form.base_fields),
            }
            for one in CALCULATORS.values()
        ]})  # fmt: skip
