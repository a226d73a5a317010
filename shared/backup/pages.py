"""Page: copies of the whole shop."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import Any

from django.conf import settings
from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import FileResponse, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods, require_POST

from shared import clock
from shared.api.permissions import needs
from shared.backup import daily, open_archive
from shared.errors import ShopError

MOST_LISTED = 100


@needs("sites:write")
@require_http_methods(["GET", "HEAD", "POST"])
def copies(request: Any) -> HttpResponse:
    """Show which copies there are, and make one now."""
    _check_may(request)
    if request.method == "POST":
        try:
            made = daily.make(clock.now())
        except ShopError as error:
            messages.error(request, error.message)
        else:
            messages.success(request, f"The shop is copied: {made.name}.")
        return redirect("copies")
    rows = [
        {"name": path.name, "at": at, "bytes": path.stat().st_size}
        for at, path in daily.copies(settings.BACKUP_FOLDER)[:MOST_LISTED]
    ]
    return render(request, "backup/copies.html", {"rows": rows, "state": daily.state(clock.now())})


def _check_may(request: Any) -> None:
    if not request.access.may_for_all("sites:write"):
        raise PermissionDenied(
            "A copy holds every site: this needs sites:write for all sites; your role does not "
            "have it."
        )


@needs("sites:write")
@require_POST
def archive(request: Any) -> Any:
    """Hand out the whole shop as one open archive."""
    _check_may(request)
    now = clock.now()
    try:
        with tempfile.TemporaryDirectory(prefix=".making-", dir=settings.DATA) as folder:
            made = open_archive.write(Path(folder) / "shop.zip", now)
            file = made.path.open("rb")  # stays readable when its name is gone
    except ShopError as error:
        messages.error(request, error.message)
        return redirect("copies")
    return FileResponse(file, as_attachment=True, filename=f"shop-archive-{now:%Y%m%d}.zip")
