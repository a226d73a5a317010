"""Page: upload a document of an ordering system or a supplier."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from planning.files.documents import TAKEN, Taken, take_document
from shared.api.permissions import needs
from shared.errors import Invalid, ShopError, file_too_large
from shared.ubl.reading import MOST_BYTES


@needs("sites:read")
@require_http_methods(["GET", "HEAD", "POST"])
def documents(request: Any) -> HttpResponse:
    """Take in a document; who may is asked as by the API, for what the document is about."""
    error: ShopError | None = None
    if request.method == "POST":
        try:
            done = _take(request)
        except ShopError as refused:
            error = refused
        else:
            messages.success(request, done.words)
            return redirect(done.page, done.pk)
    context = {"error": error, "faults": getattr(error, "problems", ()), "taken": TAKEN}
    return render(request, "planning/files/documents.html", context, status=422 if error else 200)


def _take(request: Any) -> Taken:
    given = request.FILES.get("file")
    if given is None:
        raise Invalid.one("file", "required", "Choose a file: a UBL 2.1 document (.xml).")
    if given.size > MOST_BYTES:
        raise file_too_large(given.size, MOST_BYTES)
    return take_document(caller=request, site=request.site, data=given.read())
