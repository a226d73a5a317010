"""Addresses of codes."""

from __future__ import annotations

from typing import Any

from django.urls import path

from shared.codes import pages

urlpatterns: list[Any] = [
    path("c/<str:code>", pages.labelled, name="labelled"),
    path("c/<str:code>/", pages.labelled),
    path("scan/", pages.scan, name="scan"),
    path("scan/named.json", pages.named, name="scan-named"),
]
