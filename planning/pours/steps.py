"""Writes: sign the steps of work of a pour, issuing what they use."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal
from typing import Any

from django.db import transaction

from planning.pours.models import PourStep
from shared.errors import ShopError
from shop import stores


def sign_step(
    *,
    step: PourStep,
    at: datetime,
    by: Any = None,
    took_min: int | None = None,
    results: list[dict[str, Any]] | None = None,
) -> PourStep:
    """Sign a step of work as done; its materials are issued first expired first out."""
    if step.done_at is not None:
        return step
    with transaction.atomic():
        changed = PourStep.objects.filter(pk=step.pk, done_at__isnull=True).update(
            done_at=at, done_by=by, took_min=took_min, results=results or []
        )
        if changed:
            _issue_materials(step, at, by)
    step.refresh_from_db()
    return step


def _issue_materials(step: PourStep, at: datetime, by: Any) -> None:
    infos = {
        info.code: info
        for info in stores.materials_by_code({r["material"] for r in step.materials})
    }
    for n, row in enumerate(step.materials):
        info = infos.get(row["material"])
        if info is None:
            raise ShopError(
                f"{step.name} uses {row['material']}, which is not a material of the shop; "
                "correct the step.",
                code="no_such_material",
            )
        stores.issue_from_material(
            site_id=step.pour.order.site_id,
            material_id=info.id,
            quantity=Decimal(row["quantity"]),
            key=f"step:{step.pk}:{n}",
            counterpart=f"pour:{step.pour_id}",
            happened_at=at,
            by=by,
        )
