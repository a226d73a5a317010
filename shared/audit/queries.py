"""Reading the audit."""

from __future__ import annotations

from collections.abc import Iterable

from django.db.models import Q, QuerySet

from shared.audit.models import AuditEntry


def entries(site_ids: Iterable[int]) -> QuerySet[AuditEntry]:
    """Return the entries of some sites, and of what belongs to no site, newest first."""
    rows = AuditEntry.objects.filter(Q(site__in=site_ids) | Q(site__isnull=True))
    return rows.select_related("site").order_by("-at", "-id")
