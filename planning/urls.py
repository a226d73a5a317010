"""Addresses of the planning app: `api_urlpatterns` below /api/v1/, `urlpatterns` for pages."""

from typing import Any

from shared.api.router import Router

router = Router()

api_urlpatterns: list[Any] = [*router.urls]
urlpatterns: list[Any] = []
