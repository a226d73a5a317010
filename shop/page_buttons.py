"""Pages whose buttons each do one thing to a row and say in a sentence what came of it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, TypeVar

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect

from shared.errors import ShopError

Row = TypeVar("Row")
Buttons = Mapping[str, tuple[str, Callable[[Any, Row], str]]]
"""Name of a button to the scope it needs and what it does."""


def do(
    request: Any, buttons: Buttons[Row], name: str, row: Row, page: tuple[str, int]
) -> HttpResponse:
    """
    Do what a button says if the role allows it, and go back to the row's page.

    Raises
    ------
    Http404
        No button is called so.
    """
    if name not in buttons:
        raise Http404(f"There is no button {name}.")
    scope, work = buttons[name]
    if not request.access.may(scope, request.site.pk):
        messages.error(request, f"This needs {scope}; your role does not have it.")
        return redirect(*page)
    try:
        messages.success(request, work(request, row))
    except ShopError as error:
        messages.error(request, f"{error.message} Nothing was changed.")
    return redirect(*page)
