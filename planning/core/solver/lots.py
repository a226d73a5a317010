"""Give out material: which containers each pot is weighed from."""

from __future__ import annotations

from planning.core.plan import LotUse
from planning.core.solver.board import Board
from planning.core.solver.case import Case
from planning.core.solver.stock import DUST_KG, Need, Shelf, Stock, serve


def give_out(case: Case, board: Board) -> dict[int, tuple[LotUse, ...]]:
    """
    Return the lots of each pot.

    First expired, first out; with `lot_rule` 'one_pair' a casting keeps to the lots it began with
    as long as every later pot can still be served.
    """
    stock, problem = case.stock, case.problem
    if not problem.check_lots:
        return {}
    pours = {pot.id: {s.job for s in pot.shares} for pots in board.pots for pot in pots.values()}
    uses: dict[int, list[LotUse]] = {}
    roles = {s.hardener: "hardener" for s in problem.systems}
    materials = sorted({m for s in problem.systems for m in (s.resin, s.hardener)})
    for material in materials:
        needs = stock.needs(board, {material})
        role = roles.get(material, "resin")
        served = None
        if problem.settings.lot_rule == "one_pair":
            served = _keeping_lots(stock, material, needs, role, pours)
        if served is None:
            served = _first_expired(stock, material, needs, role)
        for key, own in served.items():
            uses.setdefault(key, []).extend(own)
    return {k: tuple(sorted(v, key=lambda u: u.role, reverse=True)) for k, v in uses.items()}


def _first_expired(
    stock: Stock, material: str, needs: list[Need], role: str
) -> dict[int, list[LotUse]]:
    shelf = stock.shelves([material])[material]
    return {n.key: serve(shelf, n, shelf.order(n.start, n.pour_end), role) for n in needs}


def _keeping_lots(
    stock: Stock, material: str, needs: list[Need], role: str, pours: dict[int, set[int]]
) -> dict[int, list[LotUse]] | None:
    """Serve each casting from as few lots as can be; None where a later pot would go short."""
    shelf = stock.shelves([material])[material]
    used: dict[int, set[str]] = {}
    ahead: dict[int, float] = {}
    for need in needs:
        for pour in pours[need.key]:
            ahead[pour] = ahead.get(pour, 0.0) + need.kg
    served: dict[int, list[LotUse]] = {}
    for need in needs:
        own = pours[need.key]
        begun = set().union(*(used.get(p, set()) for p in own))
        wanted = max(ahead[p] for p in own)
        order = _lot_order(shelf, need, begun, wanted)
        uses = serve(shelf, need, order, role)
        if need.kg - sum(u.kg for u in uses) > DUST_KG:
            return None
        served[need.key] = uses
        for pour in own:
            used.setdefault(pour, set()).update(u.lot for u in uses)
            ahead[pour] -= need.kg
    return served


def _lot_order(shelf: Shelf, need: Need, begun: set[str], wanted: float) -> list[int]:
    """Return containers: lots the castings began with, lots that last for them, then by date."""
    order = shelf.order(need.start, need.pour_end)
    left: dict[str, float] = {}
    for i in order:
        lot = shelf.items[i][0].id
        left[lot] = left.get(lot, 0.0) + shelf.left[i]
    first = {shelf.items[i][0].id: n for n, i in reversed(list(enumerate(order)))}

    def rank(i: int) -> tuple[bool, bool, bool, int]:
        lot = shelf.items[i][0].id
        return lot not in begun, left[lot] < need.kg, left[lot] < wanted, first[lot]

    return sorted(order, key=rank)
