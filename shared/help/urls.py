"""Addresses of the help."""

from __future__ import annotations

from django.urls import path

from shared.help import pages, problem_pages

urlpatterns = [
    path("help/", pages.help_index, name="help"),
    path("help/<slug:slug>/", pages.guide, name="guide"),
    path("problems/", problem_pages.kinds, name="problem-kinds"),
    path("problems/<slug:slug>/", problem_pages.kind, name="problem-kind"),
]
