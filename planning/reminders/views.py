"""REST: reminders and who took them up, the messages that went out, each caller's channels."""

from __future__ import annotations

from typing import Any, ClassVar

from drf_spectacular.utils import extend_schema
from rest_framework.decorators import action

from planning.reminders import actions, queries
from planning.reminders.models import ChannelChoice, Delivery, ReminderSettings
from planning.reminders.serializers import (
    ChoiceSerializer,
    DeliverySerializer,
    NewSettingsSerializer,
    NothingSerializer,
    ReminderSerializer,
    SettingsSerializer,
)
from shared import clock
from shared.api import viewsets


class ReminderViewSet(viewsets.ListMixin, viewsets.RetrieveMixin, viewsets.SiteViewSet):
    """What people are to be told, when it is due and whether somebody has taken it up."""

    queryset = queries.reminders().order_by("due_at", "id")
    serializer_class = ReminderSerializer
    scope_noun = "reminders"
    filterset_fields: ClassVar = {
        "kind": ["exact"],
        "state": ["exact"],
        "due_at": ["gte", "lt"],
    }
    sort_fields = ("due_at", "id")
    key_required = False

    @extend_schema(request=NothingSerializer, responses={201: ReminderSerializer})
    @action(detail=True, methods=["post"], serializer_class=NothingSerializer)
    def confirmations(self, request: Any, pk: str | None = None) -> Any:
        """Confirm: somebody sees to it, and nobody else is told."""
        return self.once(self._confirm)

    def _confirm(self, body: dict[str, Any]) -> Any:
        row = actions.confirm(reminder=self.get_object(), by=self.request.user, now=clock.now())
        fresh = self.get_queryset().get(pk=row.pk)
        return ReminderSerializer(fresh, context=self.get_serializer_context()).data


class DeliveryViewSet(viewsets.ListMixin, viewsets.RetrieveMixin, viewsets.SiteViewSet):
    """Messages by person and channel, among them those that fail."""

    queryset = (
        Delivery.objects.select_related("site", "user")
        .prefetch_related("items")
        .order_by("due_at", "id")
    )
    serializer_class = DeliverySerializer
    scope_noun = "reminders"
    filterset_fields: ClassVar = {
        "state": ["exact"],
        "channel": ["exact"],
        "doubtful": ["exact"],
    }
    sort_fields = ("due_at", "id")
    key_required = False

    @extend_schema(request=NothingSerializer, responses={201: DeliverySerializer})
    @action(detail=True, methods=["post"], serializer_class=NothingSerializer)
    def replays(self, request: Any, pk: str | None = None) -> Any:
        """Try a message that failed again, under its old id."""
        return self.once(self._replay)

    def _replay(self, body: dict[str, Any]) -> Any:
        row = actions.send_again(delivery=self.get_object(), now=clock.now())
        return DeliverySerializer(row, context=self.get_serializer_context()).data


class ChoiceViewSet(
    viewsets.ListMixin, viewsets.RetrieveMixin, viewsets.CreateMixin, viewsets.SiteViewSet
):
    """The caller's own channels by kind; where there is no row the usual ones of the role hold."""

    queryset = ChannelChoice.objects.select_related("site").order_by("id")
    serializer_class = ChoiceSerializer
    scope_noun = "reminders"
    key_required = False

    def get_queryset(self) -> Any:
        """Return the caller's own rows."""
        return super().get_queryset().filter(user_id=self.request.user.pk)

    def perform_create(self, serializer: Any) -> None:
        """Keep the choice, in place of an earlier one for the same kind."""
        serializer.instance = actions.choose_channels(
            user=self.request.user, **serializer.validated_data
        )


class SettingsViewSet(
    viewsets.ListMixin, viewsets.RetrieveMixin, viewsets.PatchMixin, viewsets.SiteViewSet
):
    """The caller's own quiet hours and webhook; a PATCH names what changes."""

    queryset = ReminderSettings.objects.order_by("id")
    serializer_class = SettingsSerializer
    read_serializer_class = NewSettingsSerializer
    scope_noun = "reminders"

    def get_queryset(self) -> Any:
        """Return the caller's own row, made on first use."""
        if not getattr(self, "swagger_fake_view", False) and self.request.user.pk:
            actions.settings_of(self.request.user)
        return super().get_queryset().filter(user_id=self.request.user.pk)

    def perform_update(self, serializer: Any) -> None:
        """Keep quiet hours and webhook; the secret of a new webhook is in the answer."""
        values, row, secret = serializer.validated_data, serializer.instance, ""
        if {"quiet_from", "quiet_until"} & set(values):
            actions.set_quiet_hours(
                user=self.request.user,
                quiet_from=values.get("quiet_from", row.quiet_from),
                quiet_until=values.get("quiet_until", row.quiet_until),
            )
        if "webhook_url" in values:
            secret = actions.set_webhook(user=self.request.user, url=values["webhook_url"])
        serializer.instance = actions.settings_of(self.request.user)
        serializer.instance.shown_once = secret
