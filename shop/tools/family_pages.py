"""Pages: families of tools, and how long the tools of one last."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.core.paginator import Paginator
from django.db.models import Count
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST, require_safe

from shared.api.permissions import needs
from shared.errors import ShopError
from shop import page_forms as forms
from shop.core import weibull
from shop.registers import change, enter, in_words
from shop.tools.life import NOTHING_STATED, Known, Lives, family_figures
from shop.tools.models import ToolFamily
from shop.tools.picture import life_picture

ON_A_PAGE = 50
MOST_SHOTS = 10_000_000


@needs("tools:read")
@require_safe
def families(request: Any) -> HttpResponse:
    """List families with the life of each."""
    rows = ToolFamily.objects.filter(site=request.site).annotate(count=Count("tools"))
    page = Paginator(rows.order_by("code"), ON_A_PAGE).get_page(request.GET.get("page"))
    lives = Lives(request.site)
    return render(
        request,
        "shop/tools/families.html",
        {
            "page": page,
            "rows": [(family, _short(lives.of_family(family))) for family in page],
            "may_write": request.access.may("tools:write", request.site.pk),
        },
    )


def _short(known: Known) -> dict[str, Any]:
    life = known.posterior
    return {
        "median": life.median_life() if life else None,
        "basis": life.basis if life else NOTHING_STATED,
        "contradiction": known.contradiction,
    }


@needs("tools:read")
@require_safe
def family(request: Any, pk: int) -> HttpResponse:
    """Show how long the tools of one family last, with a picture."""
    found = get_object_or_404(ToolFamily, pk=pk, site=request.site)
    known = Lives(request.site).of_family(found)
    return render(
        request,
        "shop/tools/family.html",
        {
            "family": found,
            "known": known,
            "figures": family_figures(known),
            "alone": _alone(known),
            "picture": life_picture(known),
            "tools": found.tools.order_by("code")[:200],
            "may_write": request.access.may("tools:write", request.site.pk),
        },
    )


def _alone(known: Known) -> weibull.Weibull | None:
    """Return the life that fits best with nothing supposed, where two failures allow a fit."""
    if len({x.shots for x in known.history if x.failed}) < 2:
        return None
    return weibull.fit(known.history)


@needs("tools:write")
@require_POST
def add(request: Any) -> HttpResponse:
    """Name a family."""
    try:
        made = enter(ToolFamily, site=request.site, **_values(request.POST), code=_code(request))
    except (ShopError, ValidationError) as error:
        return _refused(request, error, "tool-families")
    messages.success(request, "The family is named. Put tools into it on their pages.")
    return redirect("tool-family", made.pk)


@needs("tools:write")
@require_POST
def change_family(request: Any, pk: int) -> HttpResponse:
    """Change a family's name and stated life."""
    found = get_object_or_404(ToolFamily, pk=pk, site=request.site)
    try:
        change(found, version=found.version + 1, **_values(request.POST))
    except (ShopError, ValidationError) as error:
        return _refused(request, error, "tool-family", pk)
    messages.success(request, "Changed.")
    return redirect("tool-family", pk)


def _code(request: Any) -> str:
    return forms.text(request.POST, "code", 40)


def _values(post: Any) -> dict[str, Any]:
    stated = post.get("stated_shots", "").strip()
    return {
        "name": forms.text(post, "name", 120),
        "stated_shots": forms.whole(post, "stated_shots", MOST_SHOTS) if stated else None,
        "source": forms.text(post, "source", 200),
    }


def _refused(request: Any, error: ShopError | ValidationError, *back: Any) -> HttpResponse:
    words = error.message if isinstance(error, ShopError) else in_words(error)
    messages.error(request, f"{words} Nothing was changed.")
    return redirect(*back)
