"""Addresses of webhooks."""

from __future__ import annotations

from typing import Any

from django.urls import path

from shared.api.router import Router
from shared.hooks import pages, views

router = Router()
router.register("webhook-endpoints", views.EndpointViewSet, "webhook-endpoint")
router.register("webhook-deliveries", views.HookDeliveryViewSet, "webhook-delivery")
router.register("webhook-attempts", views.HookAttemptViewSet, "webhook-attempt")

api_urlpatterns: list[Any] = [*router.urls]
urlpatterns = [
    path("setup/webhooks/", pages.webhooks, name="webhooks"),
    path("setup/webhooks/<int:pk>/", pages.webhook, name="webhook"),
    path("setup/webhooks/<int:pk>/<slug:what>/", pages.webhook_button, name="webhook-button"),
]
