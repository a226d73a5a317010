"""Page: the first start of an empty installation."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import Any

from django.conf import settings
from django.contrib import messages
from django.contrib.auth import login
from django.core.exceptions import ValidationError
from django.core.management import call_command
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods

from planning.founding import actions
from planning.founding.forms import ArchiveForm, ShopForm
from shared.access import queries
from shared.access.models import Site, User
from shared.backup import open_archive
from shared.errors import Invalid, ShopError
from shop.setup.actions import problems_of

BACKEND = "django.contrib.auth.backends.ModelBackend"


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def start(request: Any) -> HttpResponse:
    """Found a shop of one's own, or open the invented example shop."""
    with_account = not request.user.is_authenticated
    if not _may_found(request):
        return redirect("first")
    if request.method == "POST" and request.POST.get("example") == "1" and with_account:
        call_command("load_demo", verbosity=0)
        messages.success(
            request,
            "The invented example shop is open. Sign in as tess, petra, bruno, karin, quinn or "
            "ada; the password is demo-shop.",
        )
        return redirect("sign-in")
    reading = request.POST.get("archive") == "1" and with_account
    archive = ArchiveForm(*((request.POST, request.FILES) if reading else ()))
    if reading and archive.is_valid():
        try:
            _read_archive(request, archive)
        except Invalid as error:
            for problem in error.problems:
                name = problem.pointer.removeprefix("#/")
                archive.add_error(name if name in archive.fields else None, problem.detail)
        except ShopError as error:
            archive.add_error("file", error.message)
        else:
            return redirect("setup")
    posted = request.POST if request.method == "POST" and not reading else None
    form = ShopForm(posted, with_account=with_account)
    if posted is not None and form.is_valid():
        by = None if with_account else request.user
        try:
            site, administrator = actions.found(by=by, **form.cleaned_data)
        except Invalid as error:
            for problem in error.problems:
                _tell(form, problem.pointer.removeprefix("#/"), problem.detail)
        except ShopError as error:
            form.add_error(None, error.message)
        except ValidationError as error:
            for name, words in problems_of(error):
                _tell(form, name, words)
        else:
            if with_account:
                login(request, administrator, backend=BACKEND)
            messages.success(request, f"{site} is founded. The list below tells what is next.")
            return redirect("setup")
    return render(
        request,
        "planning/setup/start.html",
        {"form": form, "alone": with_account, "archive": archive},
    )


def _read_archive(request: Any, form: ArchiveForm) -> None:
    """Take a whole shop in, and sign in whoever was given a password."""
    given = form.cleaned_data
    with tempfile.NamedTemporaryFile(prefix=".reading-", dir=settings.DATA) as kept:
        for block in given["file"].chunks():
            kept.write(block)
        kept.flush()
        done = open_archive.read(Path(kept.name), admin=given["admin"], password=given["password"])
    login(request, User.objects.get(username=given["admin"]), backend=BACKEND)
    messages.success(
        request,
        f"The shop of {done.made_at} is read in: {done.rows:,} rows, {done.documents} documents. "
        "Give the others new passwords, other systems new tokens.",
    )


def _may_found(request: Any) -> bool:
    """Tell whether there is nothing here yet and this visitor may begin it."""
    if request.user.is_authenticated:
        return bool(request.user.is_superuser) and not Site.objects.exists()
    return bool(settings.FOUND_IN_BROWSER) and queries.is_unfounded()


def _tell(form: ShopForm, name: str, words: str) -> None:
    form.add_error(name if name in form.fields else None, words)
