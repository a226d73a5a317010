"""Which recalls are in force for a lot."""

from __future__ import annotations

from django.db.models import Q, QuerySet

from shop.recalls.models import Recall


def in_force(*, site_id: int, material_id: int, lot_code: str) -> QuerySet[Recall]:
    """Return the recalls not lifted that stop a lot of this code at a site, latest first."""
    return Recall.objects.filter(
        Q(stops__site=None) | Q(stops__site=site_id),
        stops__material=material_id,
        stops__code=lot_code.upper(),
        lifted_at=None,
    ).distinct()
