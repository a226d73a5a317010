"""Addresses of the copies of the shop."""

from __future__ import annotations

from django.urls import path

from shared.backup import pages

urlpatterns = [
    path("setup/copies/", pages.copies, name="copies"),
    path("setup/copies/archive/", pages.archive, name="shop-archive"),
]
