"""REST: the register of tools and their events."""

from __future__ import annotations

import dataclasses
from typing import Any, ClassVar

from drf_spectacular.utils import extend_schema
from rest_framework.decorators import action
from rest_framework.response import Response

from shared import clock
from shared.api import idempotency, viewsets
from shared.api.uploads import OneFile
from shared.times import happened
from shop.keys import key_for
from shop.registers_api import RegisterViewSet
from shop.tools import actions, life
from shop.tools import inspection_serializers as inspections
from shop.tools import serializers as forms
from shop.tools.counter_file import MOST_BYTES, load_counter_file
from shop.tools.drifting import figures
from shop.tools.face import Coat
from shop.tools.inspecting import Finding
from shop.tools.inspection_models import Checkpoint, RetirementReason
from shop.tools.models import Tool, ToolEvent, ToolFamily
from shop.tools.repairing import Used, withdraw
from shop.tools.runs import Readings, correct_shots
from shop.tools.taking_over import enter_tool
from shop.tools.upkeep import drifts_of


class ToolViewSet(
    viewsets.ListMixin,
    viewsets.RetrieveMixin,
    viewsets.CreateMixin,
    viewsets.PatchMixin,
    viewsets.SiteViewSet,
):
    """Tools asked for, being cast, in service, retired; their state follows from their events."""

    queryset = Tool.objects.select_related("site", "family").prefetch_related("halves")
    serializer_class = forms.ToolSerializer
    scope_noun = "tools"
    filterset_fields: ClassVar = {
        "status": ["exact"], "kind": ["exact"], "code": ["exact"], "customer": ["exact"],
        "family": ["exact"],
    }  # fmt: skip
    sort_fields = ("code", "name", "id")
    perform_update = RegisterViewSet.perform_update

    def perform_create(self, serializer: Any) -> None:
        """Enter a tool, one that is in use already too."""
        serializer.instance = enter_tool(by=self.request.user, **serializer.validated_data)

    @extend_schema(responses=forms.ToolLifeSerializer)
    @action(detail=True, filterset_fields={})
    def life(self, request: Any, pk: str) -> Response:
        """Return the shots the tool is likely to do still, each figure with its range."""
        tool = self.get_object()
        [state] = life.states([tool], tool.site, clock.today(tool.site))
        return Response(forms.ToolLifeSerializer(life.tool_figures(state)).data)

    @extend_schema(responses=forms.UpkeepSerializer)
    @action(detail=True, filterset_fields={})
    def upkeep(self, request: Any, pk: str) -> Response:
        """Return what the tool wants now or later: coats, old wax off, inspection."""
        tool = self.get_object()
        [state] = life.states([tool], tool.site, clock.today(tool.site))
        return Response(forms.UpkeepSerializer(state).data)

    @extend_schema(responses=inspections.DriftSerializer(many=True))
    @action(detail=True, filterset_fields={}, pagination_class=None)
    def drifts(self, request: Any, pk: str) -> Response:
        """Return how each measured dimension of the tool drifts, and when it may be outside."""
        tool = self.get_object()
        rows = drifts_of(tool, tool.site, clock.today(tool.site))
        return Response(
            inspections.DriftSerializer([figures(one) for one in rows], many=True).data
        )


class CheckpointViewSet(RegisterViewSet):
    """The checklists of tools and families: what an inspection measures or answers."""

    queryset = Checkpoint.objects.select_related("site")
    serializer_class = inspections.CheckpointSerializer
    scope_noun = "tools"
    filterset_fields: ClassVar = {
        "code": ["exact"], "tool": ["exact"], "family": ["exact"], "in_use": ["exact"],
    }  # fmt: skip
    sort_fields = ("code", "name", "id")


class RetirementReasonViewSet(RegisterViewSet):
    """Reasons of the shop's own why tools are retired, beside the usual ones."""

    queryset = RetirementReason.objects.select_related("site")
    serializer_class = inspections.RetirementReasonSerializer
    scope_noun = "tools"
    filterset_fields: ClassVar = {"code": ["exact"], "in_use": ["exact"]}
    sort_fields = ("code", "name", "id")


class ToolFamilyViewSet(RegisterViewSet):
    """Families of tools that wear alike, and the life that is stated for them."""

    queryset = ToolFamily.objects.select_related("site")
    serializer_class = forms.ToolFamilySerializer
    scope_noun = "tools"
    filterset_fields: ClassVar = {"code": ["exact"], "in_use": ["exact"]}
    sort_fields = ("code", "name", "id")

    @extend_schema(responses=forms.FamilyLifeSerializer)
    @action(detail=True, filterset_fields={})
    def life(self, request: Any, pk: str) -> Response:
        """Return how long tools of the family last, each figure with its range."""
        family = self.get_object()
        known = life.Lives(family.site).of_family(family)
        return Response(forms.FamilyLifeSerializer(life.family_figures(known)).data)


class ToolEventViewSet(
    viewsets.ListMixin, viewsets.RetrieveMixin, viewsets.CreateMixin, viewsets.SiteViewSet
):
    """What happened to tools: shots, coats, inspections, repairs, retirement; only added."""

    queryset = ToolEvent.objects.select_related("by").prefetch_related(
        "findings__checkpoint", "used__container"
    )
    serializer_class = forms.ToolEventSerializer
    read_serializer_class = forms.ToolEventSerializer
    scope_noun = "tools"
    versioned = False
    filterset_fields: ClassVar = {"tool": ["exact"], "kind": ["exact"], "at": ["gte", "lt"]}
    sort_fields = ("at", "id")

    def perform_create(self, serializer: Any) -> None:
        """Add the event."""
        body = dict(serializer.validated_data)
        tool = body.pop("tool")
        key = key_for(idempotency.principal(self.request), body.pop("client_reference", None))
        at = happened(body.pop("at", None), now=clock.now())
        readings = Readings(
            *(body.pop(field.name, None) for field in dataclasses.fields(Readings))
        )
        coat = Coat(*(body.pop(field.name, None) for field in dataclasses.fields(Coat)))
        findings = [Finding(**one) for one in body.pop("findings", ())]
        used = [Used(**one) for one in body.pop("used", ())]
        serializer.instance = actions.add_event(
            tool_id=tool.pk, key=key, at=at, by=self.request.user, readings=readings, coat=coat,
            findings=findings, used=used, **body,
        )  # fmt: skip

    @extend_schema(responses={201: forms.ToolEventSerializer})
    @action(detail=True, methods=["post"], serializer_class=forms.CorrectionSerializer)
    def corrections(self, request: Any, pk: str) -> Any:
        """Put the shots of a run right by a further entry."""
        run = self.get_object()
        key = key_for("", None)
        return self.once(
            lambda body: correct_shots(event_id=run.pk, key=key, by=request.user, **body)
        )

    @extend_schema(responses={201: forms.ToolEventSerializer})
    @action(detail=True, methods=["post"], serializer_class=inspections.WithdrawalSerializer)
    def withdrawals(self, request: Any, pk: str) -> Any:
        """Take back a wrong entry by a further one; it stays to be seen."""
        event, key = self.get_object(), key_for("", None)
        return self.once(
            lambda body: withdraw(event_id=event.pk, key=key, by=request.user, **body)
        )

    @extend_schema(responses={201: forms.LoadedSerializer})
    @action(
        detail=False,
        methods=["post"],
        url_path="counter-files",
        serializer_class=forms.CounterFileSerializer,
        parser_classes=[OneFile],
    )
    def counter_files(self, request: Any) -> Any:
        """Enter the shots of a press counter from a CSV file; all its rows or none."""

        def work(body: dict[str, Any]) -> dict[str, Any]:
            data = body["file"].head(MOST_BYTES)
            loaded = load_counter_file(site=body["site"], data=data, by=request.user)
            return dict(forms.LoadedSerializer(loaded).data)

        return self.once(work)
