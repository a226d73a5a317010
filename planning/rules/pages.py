"""The page on which a foreman decides how weeks are planned."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from planning.rules.actions import RulesChanged, keep_rules, rules_of
from planning.rules.page_forms import RulesForm
from shared.api.permissions import needs
from shared.errors import Invalid


@needs("plans:write")
def planning_rules(request: HttpRequest) -> HttpResponse:
    """Show and change the rules; a plan asked for afterwards keeps them."""
    site = request.site
    rules = rules_of(site.pk)
    form = RulesForm(request.POST or None, rules=rules)
    if request.method == "POST" and form.is_valid():
        try:
            keep_rules(
                site_id=site.pk,
                values=form.values(),
                freeze_hours=form.cleaned_data["freeze_hours"],
                own_times=form.cleaned_data["own_times"],
                night_c=form.cleaned_data["night_c"],
                seen=form.cleaned_data["seen"],
            )
        except RulesChanged as error:
            messages.error(request, error.message)
            return redirect("planning-rules")
        except Invalid as error:
            for problem in error.problems:
                form.add_error(problem.pointer.removeprefix("#/"), problem.detail)
        else:
            messages.success(request, "Kept. Plans asked for from now on follow these rules.")
            return redirect("planning-rules")
    return render(request, "planning/rules/rules.html", {"form": form})
