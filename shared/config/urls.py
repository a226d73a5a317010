"""Every address of the service: two apps, access, health, and the description of the API."""

from __future__ import annotations

from importlib import import_module
from importlib.util import find_spec
from typing import Any

from django.conf import settings
from django.urls import include, path
from django.views.generic import RedirectView
from drf_spectacular.views import SpectacularSwaggerSplitView

from shared.api.description import Description
from shared.bundles import bundle


def _of(app: str, name: str) -> list[Any]:
    """Return a list of addresses an app exposes, empty while it exposes none."""
    if find_spec(f"{app}.urls") is None:
        return []
    return list(getattr(import_module(f"{app}.urls"), name, ()))


api = [
    path("openapi.json", Description.as_view(), name="openapi"),
    path("", SpectacularSwaggerSplitView.as_view(url_name="openapi"), name="api-docs"),
    *_of("shared.access", "api_urlpatterns"),
    *_of("shared.audit", "api_urlpatterns"),
    *_of("shared.events", "api_urlpatterns"),
    *_of("shared.hooks", "api_urlpatterns"),
    *_of("shop", "api_urlpatterns"),
    *_of("planning", "api_urlpatterns"),
]
urlpatterns = [
    path("", include("shared.config.health")),
    path("", include("shared.config.metrics")),
    path("favicon.ico", RedirectView.as_view(url=f"{settings.STATIC_URL}house/mark.svg")),
    path("bundles/<slug:stem>.<slug:mark>.<slug:kind>", bundle, name="bundle"),
    path("api/v1/", include(api)),
    *_of("shared.access", "urlpatterns"),
    *_of("shared.sign_in", "urlpatterns"),
    *_of("shared.audit", "urlpatterns"),
    *_of("shared.backup", "urlpatterns"),
    *_of("shared.codes", "urlpatterns"),
    *_of("shared.help", "urlpatterns"),
    *_of("shared.mail", "urlpatterns"),
    *_of("shared.hooks", "urlpatterns"),
    *_of("shop", "urlpatterns"),
    *_of("planning", "urlpatterns"),
]

handler400 = "shared.api.problems.unreadable"
handler403 = "shared.api.problems.forbidden"
handler404 = "shared.api.problems.not_found"
handler500 = "shared.api.problems.failed"
