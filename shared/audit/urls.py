"""Addresses of the audit."""

from __future__ import annotations

from typing import Any

from django.urls import path

from shared.api.router import Router
from shared.audit import pages, views

router = Router()
router.register("audit-entries", views.AuditViewSet, "audit-entry")

api_urlpatterns: list[Any] = [*router.urls]
urlpatterns = [path("audit/", pages.audit, name="audit")]
