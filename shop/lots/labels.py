"""New containers with a label that no other container carries."""

from __future__ import annotations

from itertools import count

from django.db import IntegrityError, transaction

from shared.errors import Invalid
from shop.lots.models import Container, Lot
from shop.sites.models import Location


def new_container(
    lot: Lot, *, code: str = "", location: Location | None = None, plain: bool = True
) -> Container:
    """
    Return a new container of a lot that is locked, with the label asked for or the next free one.

    `plain` labels read LOT/3; where another lot of that code has taken it, and for parts of a
    container, the lot's own number keeps labels apart.

    Raises
    ------
    Invalid
        If another container carries the label asked for.
    """
    if code:
        made = _try(lot, code, location)
        if made is None:
            words = f"code is {code!r}; another container carries that label."
            raise Invalid.one("code", "unique", words, value=code)
        return made
    first = lot.containers.count() + 1
    for n in count(first):
        for label in [f"{lot.code}/{n}"] * plain + [f"{lot.code}/{lot.pk}.{n}"]:
            made = _try(lot, label, location)
            if made is not None:
                return made
    raise AssertionError("unreachable")


def _try(lot: Lot, code: str, location: Location | None) -> Container | None:
    """Insert; the unique label decides between two at once. Nothing is returned if it is taken."""
    if Container.objects.filter(code=code).exists():
        return None
    try:
        with transaction.atomic():
            return Container.objects.create(lot=lot, code=code, location=location)
    except IntegrityError:
        return None
