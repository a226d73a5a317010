"""Reading proposals for the Buying page."""

from __future__ import annotations

from django.db.models import QuerySet

from shared.access.models import Site
from shop.proposals.models import ProposalStatus, PurchaseProposal


def open_proposals(site: Site) -> QuerySet[PurchaseProposal]:
    """Return what nobody has decided yet, the first to order on top."""
    return (
        PurchaseProposal.objects.filter(site=site, status=ProposalStatus.PROPOSED)
        .select_related("supplier", "material")
        .order_by("order_on", "supplier__name", "material__code")
    )
