"""
Scripts and styles of a page as one file each, named by what is in it and kept for long.

A phone in a workshop asks slowly: the batch page had 17 scripts and styles, each asked for again
after a minute. A bundle changes its address when its content does, so that a browser may keep it
for a year and a page never meets an old one.
"""

from __future__ import annotations

import gzip
from functools import lru_cache
from hashlib import sha256
from typing import NamedTuple

from django.conf import settings
from django.contrib.staticfiles import finders
from django.http import Http404, HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.cache import patch_vary_headers

BUNDLES: dict[str, tuple[str, ...]] = {
    "page.css": ("house/house.css",),
    "htmx.js": ("django_htmx/htmx-2.min.js",),
    "page.js": ("house/house.js", "house/alarms.js"),
    "batch.js": tuple(
        f"house/{name}.js"
        for name in (
            "steady",
            "queue",
            "potclock",
            "pot",
            "gauge",
            "weighing",
            "gate",
            "trouble",
            "alarm",
            "putright",
            "stirring",
            "makeready",
            "mixheat",
            "mixtimer",
            "batchlog",
            "keeping",
            "batch",
        )
    ),
    "batch.css": ("house/batch.css",),
}
"""What each bundle is made of, in order."""

TYPES = {"js": "text/javascript; charset=utf-8", "css": "text/css; charset=utf-8"}
YEAR_S = 365 * 24 * 3600


class Bundle(NamedTuple):
    """A bundle's content, plain and packed, and the mark of both."""

    plain: bytes
    packed: bytes
    mark: str


def bundle_of(name: str) -> Bundle:
    """Return a bundle; made once, or afresh each time while the code is being worked on."""
    return _made.__wrapped__(name) if settings.DEBUG else _made(name)


@lru_cache(maxsize=len(BUNDLES))
def _made(name: str) -> Bundle:
    parts = []
    for path in BUNDLES[name]:
        found = finders.find(path)
        assert isinstance(found, str), path
        with open(found, "rb") as file:
            parts.append(file.read())
    # A script may end without the semicolon that the next one needs.
    plain = (b"\n;\n" if name.endswith(".js") else b"\n").join(parts)
    return Bundle(plain, gzip.compress(plain, 9, mtime=0), sha256(plain).hexdigest()[:12])


def address_of(name: str) -> str:
    """Return the address of a bundle as it is now."""
    stem, _, kind = name.rpartition(".")
    return reverse("bundle", args=[stem, bundle_of(name).mark, kind])


def bundle(request: HttpRequest, stem: str, mark: str, kind: str) -> HttpResponse:
    """Serve a bundle. Under an old mark the new content is served, and not kept."""
    name = f"{stem}.{kind}"
    if name not in BUNDLES:
        raise Http404(f"There is no bundle {name}.")
    found = bundle_of(name)
    packs = "gzip" in request.headers.get("Accept-Encoding", "")
    response = HttpResponse(found.packed if packs else found.plain, content_type=TYPES[kind])
    if packs:
        response["Content-Encoding"] = "gzip"
    patch_vary_headers(response, ["Accept-Encoding"])
    is_new = mark == found.mark
    response["Cache-Control"] = f"public, max-age={YEAR_S}, immutable" if is_new else "no-cache"
    return response
