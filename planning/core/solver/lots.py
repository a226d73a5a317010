"""Give out material: which containers each pot is weighed from."""

from __future__ import annotations

from planning.core.plan import LotUse
from planning.core.solver.board import Board
from planning.core.solver.cans import Need, Order, Shelf, opened_first
from planning.core.solver.case import Case
from planning.core.solver.stock import materials_of


def give_out(case: Case, board: Board) -> dict[int, tuple[LotUse, ...]]:
    """
    Return the lots of each pot.

    Opened cans first, then by date; with `lot_rule` 'one_pair' a casting keeps to the lots it
    began with. Where a later pot would go short that way, cans are taken by date alone or opened
    at other pots, so that every pot is served that can be.
    """
    stock, problem = case.stock, case.problem
    if not problem.check_lots:
        return {}
    pours = {pot.id: {s.job for s in pot.shares} for pots in board.pots for pot in pots.values()}
    uses: dict[int, list[LotUse]] = {}
    for material in sorted({m for s in problem.systems for m in materials_of(s)}):
        needs = stock.needs(board, {material})
        orders: list[Order] = [opened_first]
        if problem.settings.lot_rule == "one_pair":
            orders.insert(0, _KeepingLots(needs, pours))
        served, _ = stock.serve(material, needs, orders)
        cans, _ = stock.cans(material)
        for need in needs:
            uses.setdefault(need.key, []).extend(
                LotUse(cans[u.can].lot, cans[u.can].id, need.role, u.kg) for u in served[need.key]
            )
    return {k: tuple(sorted(v, key=_by_weighing)) for k, v in uses.items()}


def _by_weighing(use: LotUse) -> tuple[int, str]:
    """Resin is weighed first and hardener last: nothing sets before all is in the pot."""
    return {"resin": 0, "hardener": 2}.get(use.role, 1), use.role


class _KeepingLots:
    """Takes for each casting from the lots it began with, then from lots that last for it."""

    def __init__(self, needs: list[Need], pours: dict[int, set[int]]) -> None:
        self.pours = pours
        self.used: dict[int, set[str]] = {}
        self.ahead: dict[int, float] = {}
        for need in needs:
            for pour in pours[need.key]:
                self.ahead[pour] = self.ahead.get(pour, 0.0) + need.kg

    def __call__(self, shelf: Shelf, need: Need, usable: list[int]) -> list[int]:
        own = self.pours[need.key]
        begun: set[str] = set().union(*(self.used.get(p, set()) for p in own))
        wanted = max(self.ahead[p] for p in own)
        order = opened_first(shelf, need, usable)
        left: dict[str, float] = {}
        for i in order:
            lot = shelf.cans[i].lot
            left[lot] = left.get(lot, 0.0) + shelf.left[i]
        first = {shelf.cans[i].lot: n for n, i in reversed(list(enumerate(order)))}

        def rank(i: int) -> tuple[bool, bool, bool, int]:
            lot = shelf.cans[i].lot
            return lot not in begun, left[lot] < need.kg, left[lot] < wanted, first[lot]

        order.sort(key=rank)
        rest = need.kg
        for i in order:
            if rest <= 0:
                break
            rest -= shelf.left[i]
            for pour in own:
                self.used.setdefault(pour, set()).add(shelf.cans[i].lot)
        for pour in own:
            self.ahead[pour] -= need.kg
        return order
