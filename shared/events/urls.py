"""Addresses of the events."""

from __future__ import annotations

from typing import Any

from django.urls import path

from shared.events import views

api_urlpatterns: list[Any] = [path("events", views.EventFeed.as_view(), name="events")]
