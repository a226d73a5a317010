"""Addresses without a slash at the end, and without a page of links at the root."""

from rest_framework.routers import SimpleRouter


class Router(SimpleRouter):
    """`/api/v1/lots`, `/api/v1/lots/17`."""

    def __init__(self) -> None:
        super().__init__(trailing_slash=False)
