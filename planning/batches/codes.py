"""Batches carry codes on their sheets, which lead back to the batch."""

from __future__ import annotations

from django.urls import reverse

from planning.batches.models import Batch
from shared.access.models import Site
from shared.codes.finding import Found, Kind, register


def _found(row: Batch) -> Found:
    return Found(
        "batch", row.pk, row.number, f"batch {row.number}", reverse("batch", args=[row.pk])
    )


def _by_number(site: Site, number: int) -> Found | None:
    row = Batch.objects.filter(site=site, pk=number).first()
    return None if row is None else _found(row)


def _by_text(site: Site, text: str) -> list[Found]:
    return [_found(row) for row in Batch.objects.filter(site=site, number__iexact=text)[:1]]


def register_batches() -> None:
    """Tell the search by code what a batch's sheet carries."""
    path = r"/batches/(\d{1,18})"
    register(Kind("batch", "B", "batches:read", _by_number, _by_text, path))
