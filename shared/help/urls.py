"""Addresses of the help."""

from __future__ import annotations

from django.urls import path

from shared.help import change_pages, pages, problem_pages

urlpatterns = [
    path("help/", pages.help_index, name="help"),
    path("help/<slug:slug>/", pages.guide, name="guide"),
    path("api-changes/", change_pages.changes, name="api-changes"),
    path("problems/", problem_pages.kinds, name="problem-kinds"),
    path("problems/<slug:slug>/", problem_pages.kind, name="problem-kind"),
]
