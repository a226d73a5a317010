"""Sums of quantities that are exact on every database."""

from __future__ import annotations

from typing import Any

from django.db.models import DecimalField, Q, Sum, Value
from django.db.models.functions import Coalesce, Round

NUMBER: DecimalField = DecimalField(max_digits=14, decimal_places=4)


def exact_sum(field: str, *, only: Q | None = None) -> Any:
    """
    Return the sum of a quantity column, in the ledger's steps; nothing summed is 0.

    SQLite keeps decimals as binary fractions, and their sum drifts in the fifteenth digit;
    rounding to the ledger's step takes the drift out before anything is compared.
    """
    total = Coalesce(Sum(field, filter=only), Value(0, output_field=NUMBER))
    return Round(total, precision=4, output_field=NUMBER)
