"""What long lists on pages share: a word to find, an order to choose, a page at a time."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from django.core.paginator import Page, Paginator
from django.db.models import Q, QuerySet

ON_A_PAGE = 50
MOST_ASKED = 60
Order = tuple[str, str, Any]
"""Name in the address, words on the page, and what to sort by."""


@dataclass(frozen=True)
class Found:
    """One page of a list, and what was asked for."""

    page: Page[Any]
    q: str
    sort: str
    sorts: tuple[tuple[str, str], ...]


def found(
    request: Any,
    rows: QuerySet[Any],
    *,
    search: Sequence[str],
    orders: Sequence[Order],
    size: int = ON_A_PAGE,
) -> Found:
    """
    Return the page of a query that is asked for.

    Parameters
    ----------
    search : sequence of str
        Columns in which the word of ``?q=`` may stand, in any case.
    orders : sequence of Order
        Orders to choose from with ``?sort=``, each a tuple of columns; the first is usual.
    """
    q, (sort, _, by) = _asked(request), _chosen(request, orders)
    if q and search:
        asked = Q()
        for name in search:
            asked |= Q(**{f"{name}__icontains": q})
        rows = rows.filter(asked)
        if any("__" in name for name in search):
            rows = rows.distinct()
    return _page(request, rows.order_by(*by), q, sort, orders, size)


def found_among(
    request: Any,
    rows: Sequence[Any],
    *,
    text: Callable[[Any], str],
    orders: Sequence[Order] = (("", "", None),),
    size: int = ON_A_PAGE,
) -> Found:
    """Return the page of worked-out rows that is asked for; an order is a key, or none."""
    q, (sort, _, by) = _asked(request), _chosen(request, orders)
    kept = [row for row in rows if q.lower() in text(row).lower()]
    return _page(request, sorted(kept, key=by) if by else kept, q, sort, orders, size)


def _asked(request: Any) -> str:
    # PostgreSQL cannot look for a NUL.
    return str(request.GET.get("q", "")).replace("\0", "").strip()[:MOST_ASKED]


def _chosen(request: Any, orders: Sequence[Order]) -> Order:
    asked = request.GET.get("sort", "")
    return next((one for one in orders if one[0] == asked), orders[0])


def _page(request: Any, rows: Any, q: str, sort: str, orders: Sequence[Order], size: int) -> Found:
    page = Paginator(rows, size).get_page(request.GET.get("page"))
    told = tuple((name, words) for name, words, _ in orders)
    return Found(page, q, sort, told if len(told) > 1 else ())
