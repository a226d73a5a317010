"""What a command says of a shop that was put back: its stock, and its confirmed plans."""

from __future__ import annotations

from typing import Any

from django.core.management import call_command

from planning.schedule.broken import plan_now
from shared import clock
from shared.access.models import Site


def stock_agrees(out: Any) -> bool:
    """Compare stock with the ledger, and say so."""
    try:
        call_command("audit_stock", stdout=out)
    except SystemExit as end:
        return not end.code
    return True


def judge_plans(out: Any) -> None:
    """Judge each site's confirmed plan, and say so."""
    for site in Site.objects.order_by("code"):
        judged = plan_now(site, clock.now())
        if judged.plan is None:
            out.write(f"{site.name}: no plan is confirmed.")
        elif judged.broken:
            out.write(f"{site.name}: the confirmed plan no longer holds:")
            for one in judged.broken:
                out.write(f"  {one.words}")
        else:
            out.write(f"{site.name}: the confirmed plan holds.")
