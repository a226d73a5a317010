"""REST: the shop's set-up, stock and orders as one file, both ways."""

from __future__ import annotations

from typing import Any, ClassVar

from django.http import HttpResponse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, OpenApiResponse, extend_schema
from rest_framework.renderers import JSONRenderer
from rest_framework.response import Response

from planning.files import actions
from planning.files import serializers as forms
from planning.files.sheets import SHEETS
from shared.api import idempotency, viewsets
from shared.api.problems import BadParameter
from shared.api.uploads import AnyFile, OneFile
from shared.errors import Invalid
from shared.workbook_reading import MOST_BYTES


class ShopFile(OneFile):
    """A workbook, a CSV file, or an archive of CSV files."""

    largest_bytes = MOST_BYTES
    advice = "; split it."


class ShopFileReadingView(viewsets.ScopedView):
    """Reading a file in: all rows or none, or a trial that changes nothing."""

    serializer_class = forms.ShopFileReadingSerializer
    scope_noun = "sites"
    parser_classes = (ShopFile,)

    @extend_schema(responses={201: forms.ShopFileReadSerializer})
    def post(self, request: Any) -> Any:
        """Read a workbook or CSV files; faults are named by sheet, row and column, all at once."""
        return idempotency.once(request, self._read, required=True)

    def _read(self) -> Response:
        body = self.get_serializer(data=self.request.data)
        body.is_valid(raise_exception=True)
        asked = body.validated_data
        done = actions.read_shop_file(
            caller=self.request,
            site=asked["site"],
            data=asked["file"].head(MOST_BYTES),
            name=asked["file"].name,
            sheet=asked.get("sheet", ""),
            trial=asked["trial"],
        )
        return Response(forms.shown(done), 201)


class ShopFileView(viewsets.ScopedView):
    """The shop as a file in the form that is read."""

    scope_noun = "sites"
    serializer_class = forms.FileSheetsSerializer
    renderer_classes = (AnyFile, JSONRenderer)
    extra_parameters: ClassVar = ("site", "form", "sample")

    @extend_schema(
        parameters=[
            OpenApiParameter("site", str, description="Code of the site."),
            OpenApiParameter("form", str, enum=["xlsx", "csv"], description="Usual: xlsx."),
            OpenApiParameter("sample", bool, description="A small invented shop instead."),
        ],
        responses={(200, AnyFile.media_type): OpenApiResponse(OpenApiTypes.BINARY)},
    )
    def get(self, request: Any) -> HttpResponse:
        """Write the set-up, the stock and the orders that wait, or the sample."""
        asked = request.query_params
        site, form = self.site(asked.get("site")), asked.get("form", "xlsx")
        if asked.get("sample", "false") not in ("true", "false"):
            words = f"sample is {asked['sample'][:20]!r}; give true or false."
            raise BadParameter([{"parameter": "sample", "code": "not_a_choice", "detail": words}])
        try:
            if asked.get("sample") == "true":
                data, ending = actions.sample_file(site=site, form=form)
            else:
                data, ending = actions.shop_file(caller=request, site=site, form=form)
        except Invalid as error:
            words = error.message
            raise BadParameter(
                [{"parameter": "form", "code": "not_a_choice", "detail": words}]
            ) from None
        answer = HttpResponse(data, content_type=AnyFile.media_type)
        answer["Content-Disposition"] = f'attachment; filename="shop.{ending}"'
        return answer


class ShopFileSheetsView(viewsets.ScopedView):
    """The sheets and columns of the shop's file, in words."""

    scope_noun = "sites"
    serializer_class = forms.FileSheetsSerializer

    @extend_schema(responses=forms.FileSheetsSerializer)
    def get(self, request: Any) -> Response:
        """Describe every sheet and column."""
        return Response(forms.FileSheetsSerializer({"sheets": SHEETS}).data)
