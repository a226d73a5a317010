"""REST: endpoints that are told of events, and the log of what they were sent."""

from __future__ import annotations

from typing import Any, ClassVar

from drf_spectacular.utils import extend_schema
from rest_framework.decorators import action

from shared import clock
from shared.api import viewsets
from shared.hooks import actions
from shared.hooks import serializers as forms
from shared.hooks.models import Endpoint, HookAttempt, HookDelivery


class EndpointViewSet(
    viewsets.ListMixin,
    viewsets.RetrieveMixin,
    viewsets.CreateMixin,
    viewsets.PatchMixin,
    viewsets.DeleteMixin,
    viewsets.SiteViewSet,
):
    """Addresses that are told of a site's events, signed by Standard Webhooks 1.0.0."""

    queryset = Endpoint.objects.select_related("site").order_by("id")
    serializer_class = forms.EndpointSerializer
    scope_noun = "webhooks"
    sort_fields = ("name", "id")

    @extend_schema(responses={201: forms.SecretSerializer})
    def create(self, request: Any, *args: Any, **kwargs: Any) -> Any:
        """Make an endpoint; the answer holds its secret, which is not shown again."""
        return super().create(request, *args, **kwargs)

    def answer(self, found: Any, status: int = 200) -> Any:
        """Show the secret when it is given, and only then."""
        given = self.action in ("create", "secrets")
        self.read_serializer_class = forms.SecretSerializer if given else forms.EndpointSerializer
        return super().answer(found, status)

    def perform_create(self, serializer: Any) -> None:
        """Make an endpoint with a fresh secret."""
        values = {"kinds": [], **serializer.validated_data}
        serializer.instance = actions.add(now=clock.now(), **values)

    def perform_update(self, serializer: Any) -> None:
        """Change name, address or kinds."""
        serializer.instance = actions.alter(
            endpoint=serializer.instance, **serializer.validated_data
        )

    @extend_schema(request=forms.NothingSerializer, responses={201: forms.SecretSerializer})
    @action(detail=True, methods=["post"], serializer_class=forms.NothingSerializer)
    def secrets(self, request: Any, pk: Any = None) -> Any:
        """Give a new secret; for a day messages are signed with the one before as well."""
        row = self.get_object()
        return self.once(lambda _: actions.new_secret(endpoint=row, now=clock.now()))

    @extend_schema(responses={201: forms.EndpointSerializer})
    @action(detail=True, methods=["post"], serializer_class=forms.PauseSerializer)
    def pauses(self, request: Any, pk: Any = None) -> Any:
        """Send nothing until it goes on; events wait."""
        row = self.get_object()
        return self.once(lambda body: actions.pause(endpoint=row, now=clock.now(), **body))

    @extend_schema(request=forms.NothingSerializer, responses={201: forms.EndpointSerializer})
    @action(detail=True, methods=["post"], serializer_class=forms.NothingSerializer)
    def resumptions(self, request: Any, pk: Any = None) -> Any:
        """Send again, first what has waited."""
        row = self.get_object()
        return self.once(lambda _: actions.go_on(endpoint=row))

    @extend_schema(responses={201: forms.ReplayedSerializer})
    @action(detail=True, methods=["post"], serializer_class=forms.ReplaySerializer)
    def replays(self, request: Any, pk: Any = None) -> Any:
        """Send again, with the same ids, what was written since a time."""
        row = self.get_object()
        return self.once(
            lambda body: {"events": actions.replay(endpoint=row, now=clock.now(), **body)}
        )

    @extend_schema(request=forms.NothingSerializer, responses={201: forms.HookAttemptSerializer})
    @action(detail=True, methods=["post"], serializer_class=forms.NothingSerializer)
    def tests(self, request: Any, pk: Any = None) -> Any:
        """Post a message of type webhook.test now, and tell what came of it."""
        row = self.get_object()
        return self.once(lambda _: self._shown(actions.send_test(endpoint=row, now=clock.now())))

    def _shown(self, row: HookAttempt) -> Any:
        return forms.HookAttemptSerializer(row, context=self.get_serializer_context()).data


class HookDeliveryViewSet(viewsets.ListMixin, viewsets.RetrieveMixin, viewsets.SiteViewSet):
    """Events by endpoint: waiting, delivered, or given up after ten attempts."""

    queryset = HookDelivery.objects.select_related("event", "endpoint__site").order_by("id")
    serializer_class = forms.HookDeliverySerializer
    scope_noun = "webhooks"
    filterset_fields: ClassVar = {"endpoint": ["exact"], "state": ["exact"]}


class HookAttemptViewSet(viewsets.ListMixin, viewsets.RetrieveMixin, viewsets.SiteViewSet):
    """Every call of an endpoint, the newest first."""

    queryset = HookAttempt.objects.select_related("endpoint__site").order_by("-id")
    serializer_class = forms.HookAttemptSerializer
    scope_noun = "webhooks"
    filterset_fields: ClassVar = {"endpoint": ["exact"], "taken": ["exact"]}
