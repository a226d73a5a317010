"""The pictures of an examined pattern, as pages and calls hand them out."""

from __future__ import annotations

from pathlib import Path

from django.http import Http404, HttpResponse

from planning.patterns.models import PatternMesh, PatternState


def picture_of(pattern: PatternMesh, view: str) -> HttpResponse:
    """Return the picture of an examined pattern, or nothing at this address."""
    return _file_of(pattern, pattern.picture(view), "image/png")


def solid_of(pattern: PatternMesh) -> HttpResponse:
    """Return an examined pattern with few facets, as `planning.core.pattern.thin` writes it."""
    return _file_of(pattern, pattern.solid, "application/octet-stream")


def _file_of(pattern: PatternMesh, path: Path, kind: str) -> HttpResponse:
    if pattern.state != PatternState.READY:
        raise Http404
    try:
        data = path.read_bytes()
    except FileNotFoundError:
        raise Http404 from None
    response = HttpResponse(data, content_type=kind)
    response["Cache-Control"] = "private, max-age=0, no-cache"
    return response
