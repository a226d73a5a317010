"""The pictures of an examined pattern, as pages and calls hand them out."""

from __future__ import annotations

from django.http import Http404, HttpResponse

from planning.patterns.models import PatternMesh, PatternState


def picture_of(pattern: PatternMesh, view: str) -> HttpResponse:
    """Return the picture of an examined pattern, or nothing at this address."""
    if pattern.state != PatternState.READY:
        raise Http404
    try:
        data = pattern.picture(view).read_bytes()
    except FileNotFoundError:
        raise Http404 from None
    response = HttpResponse(data, content_type="image/png")
    response["Cache-Control"] = "private, max-age=0, no-cache"
    return response
