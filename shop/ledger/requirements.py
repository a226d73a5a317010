"""Dated needs, pushed by whoever plans."""

from __future__ import annotations

from collections.abc import Iterable

from django.db import transaction

from shop.ledger.models import Requirement
from shop.stores_types import NeedRow


@transaction.atomic
def replace_requirements(*, site_id: int, source: str, rows: Iterable[NeedRow]) -> None:
    """Put these needs in place of all that the same source asked for before at the site."""
    Requirement.objects.filter(site=site_id, source=source).delete()
    Requirement.objects.bulk_create(
        Requirement(
            site_id=site_id,
            source=source,
            material_id=row.material_id,
            label=row.label,
            quantity=row.quantity,
            needed_at=row.needed_at,
            firm=row.firm,
        )
        for row in rows
    )
