"""Addresses for people, tokens and sites."""

from __future__ import annotations

from typing import Any

from django.urls import path

from shared.access import pages, token_views, views
from shared.api.router import Router

router = Router()
router.register("sites", views.SiteViewSet, "site")
router.register("access-tokens", token_views.TokenViewSet, "access-token")

api_urlpatterns: list[Any] = [*router.urls, path("me", views.Me.as_view(), name="me")]
urlpatterns = [
    path("people/", pages.people, name="people"),
    path("people/add/", pages.add_person, name="add-person"),
    path("people/<int:pk>/", pages.person, name="person"),
    path("people/<int:pk>/all-sites/", pages.set_company_roles, name="set-company-roles"),
    path("people/<int:pk>/password/", pages.set_password, name="set-password"),
    path("people/<int:pk>/tokens/", pages.issue_token, name="issue-token"),
    path("people/<int:pk>/tokens/<int:token_pk>/", pages.revoke_token, name="revoke-token"),
]
