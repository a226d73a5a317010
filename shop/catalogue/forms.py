"""The two fields a form gets where its values take a second signature."""

from __future__ import annotations

from typing import Any

from django import forms
from django.db.models import Model

from shop.catalogue.guarded import GUARDED, label_of
from shop.catalogue.queries import two_signatures


def asks_two(row: Model) -> bool:
    """Whether a change of this row may need a second signature."""
    return label_of(row) in GUARDED and two_signatures()


def two_signature_fields() -> dict[str, Any]:
    """Return fields for the reason and the first day of a change."""
    return {
        "change_reason": forms.CharField(
            required=False,
            max_length=300,
            label="Reason for the change",
            help_text="Needed where a value that people mix or buy by changes; somebody else "
            "releases it.",
        ),
        "change_valid_from": forms.DateField(
            required=False,
            label="Valid from",
            help_text="From 00:00 UTC of this day on; empty: as soon as it is released.",
            widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
        ),
    }
