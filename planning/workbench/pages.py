"""The workbench: calculators on pages. Nothing is stored; a link carries what was typed."""

from __future__ import annotations

import re
from typing import Any

from django import forms
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render

from planning.workbench.calculators import CALCULATORS
from shared import clock
from shared.api.permissions import needs
from shop import stores

USUAL: dict[str, Any] = {"readability_g": "1", "hardener_g": "0", "least_margin_k": "3"}


@needs("calculations:read")
def workbench(request: HttpRequest) -> HttpResponse:
    """List the calculators."""
    return render(
        request, "planning/workbench/workbench.html", {"calculators": CALCULATORS.values()}
    )


@needs("calculations:read")
def calculator(request: HttpRequest, name: str) -> HttpResponse:
    """Show one calculator, and its answer when the address holds figures."""
    found = CALCULATORS.get(name)
    if found is None:
        raise Http404(f"There is no calculator {name}.")
    given = request.GET.copy()
    given.pop("site", None)
    answer = None
    if given:
        form = found.bound(given)
        answer = found.answer(form)
        say_labels(form)
    else:
        form = found.form(initial=USUAL | _expected(request))
    return render(
        request,
        "planning/workbench/calculator.html",
        {
            "calculator": found,
            "calculators": CALCULATORS.values(),
            "form": form,
            "answer": answer,
            "query": given.urlencode(),
        },
    )


def say_labels(form: forms.Form) -> None:
    """Let refusals name fields as the page does; to programs they carry the fields' own names."""
    labels = {
        name: str(field.label or name).removeprefix("or ").rpartition(", ")
        for name, field in form.fields.items()
    }
    names = re.compile(r"\b(" + "|".join(map(re.escape, labels)) + r")\b")

    def label(match: re.Match[str]) -> str:
        before, _, after = labels[match[1]]
        return before or after

    for errors in form.errors.values():
        for error in errors.as_data():
            words = names.sub(label, str(error.message))
            error.message = words[:1].upper() + words[1:]


def _expected(request: HttpRequest) -> dict[str, Any]:
    """Begin with the temperature the site expects in its shop today."""
    site = request.site
    today = clock.today(site)
    temp_c = f"{stores.site_week(site.pk, today, 1).expected_c[today]:g}"
    return {"shop_c": temp_c, "then_c": temp_c, "air_c": temp_c}
