"""Addresses of patterns, taken up by the app's `urls.py`."""

from __future__ import annotations

from django.urls import path

from planning.patterns import pages, views
from shared.api.router import Router

router = Router()
router.register("patterns", views.PatternViewSet, "pattern")

api_urlpatterns = list(router.urls)
urlpatterns = [
    path("patterns/", pages.patterns, name="patterns"),
    path("patterns/new/", pages.new_pattern, name="pattern-new"),
    path("patterns/<int:pk>/", pages.pattern, name="pattern"),
    path("patterns/<int:pk>/again/", pages.examine_again, name="pattern-again"),
    path("patterns/<int:pk>/use/", pages.use_pattern, name="pattern-use"),
    path("patterns/<int:pk>/throw-away/", pages.throw_away, name="pattern-throw-away"),
    path("patterns/<int:pk>/solid.bin", pages.solid, name="pattern-solid"),
    path("patterns/<int:pk>/above.png", pages.picture, {"view": "above"}, name="pattern-above"),
    path("patterns/<int:pk>/below.png", pages.picture, {"view": "below"}, name="pattern-below"),
]
