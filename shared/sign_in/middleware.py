"""Whoever must have a second step sets it up before anything else."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.conf import settings
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest
from django.http.response import HttpResponseBase
from django.shortcuts import redirect
from django.urls import reverse

MUST = "second_step_wanted"
"""In the session of a person whose role asks for a second step, until it is set up."""


class SecondStepWanted:
    """Lead such a person to the page where it is set up; nothing else opens."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: Any) -> HttpResponseBase:
        # Only who carries a session cookie has one to read.
        if settings.SESSION_COOKIE_NAME not in request.COOKIES or not request.session.get(MUST):
            return self.get_response(request)
        open_ways = ("/own-sign-in/", "/sign-out/", "/static/", "/bundles/", "/sign-in/")
        if request.path.startswith(open_ways):
            return self.get_response(request)
        if request.path.startswith("/api/"):
            raise PermissionDenied(
                "Your role asks for a code at signing in; set that up on the page Your sign-in."
            )
        return redirect(reverse("second-step"))
