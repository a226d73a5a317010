"""Working out what to buy, and deciding on it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date, timedelta
from decimal import Decimal

from shared import clock
from shared.access.models import Site, User
from shared.errors import Invalid
from shared.retry import retried
from shop import telling
from shop.core.buying import (
    SAFETY_STOCK,
    Need,
    Offer,
    Proposal,
    ProposedOrder,
    Terms,
    Wanted,
    propose_together,
)
from shop.core.buying_plan import NoPlan, NoPlanInTime
from shop.core.buying_program import SECONDS
from shop.core.outlook import Use, project
from shop.core.safety import reorder, service_factor
from shop.materials.models import Material, Pack
from shop.materials.suppliers import Supplier, home_currency
from shop.outlook import queries as outlook
from shop.proposals.models import ProposalStatus, PurchaseProposal
from shop.proposals.offers import UsualUse, offers, usual_use
from shop.purchasing import actions as purchasing
from shop.purchasing.errors import NotAgreed
from shop.purchasing.models import OrderStatus, PurchaseOrder
from shop.purchasing.queries import usable_on_arrival

HORIZON_DAYS = 180
SERVICE = 0.95
"""Share of deliveries that shall come in time, and of weeks without running out; chosen here."""
HOLDING_RATE_PER_YEAR = 0.2
"""Cost of capital and shelf as a share of the price; chosen here, common practice, no source."""
USUAL_USE = "usual use"
SECONDS_IN_ALL = 12.0
"""
Time for all purchases of a site, shared between them; chosen here.

Other writers wait meanwhile where the database is SQLite, and give up after 20 s.
"""
MOST_SECONDS = 5.0
"""Longest time for the shared orders of one supplier; chosen here."""


@dataclass(frozen=True)
class WorkedOut:
    """The proposals of one run, and what can't be bought, with the reason."""

    proposals: tuple[PurchaseProposal, ...]
    no_offer: tuple[Material, ...] = field(default=())
    impossible: tuple[tuple[Material, str], ...] = field(default=())
    not_in_time: tuple[Material, ...] = field(default=())
    """For which the time ran out before any purchase was found; there may be one."""
    """Materials that no purchase can supply, with what stands in the way."""


@retried
def work_out(*, site: Site, days: int = HORIZON_DAYS) -> WorkedOut:
    """
    Propose what to buy, in place of what was proposed before and not decided.

    Several pours' needs are pooled. Of several suppliers of one currency the one that comes in
    time and costs least is taken; prices in different currencies are not compared. Materials of
    one supplier with the same lead time share its orders. A material that cannot be supplied is
    told with the reason, and the others go on.
    """
    if not 7 <= days <= outlook.MOST_DAYS:
        words = f"days is {days} d; give 7 to {outlook.MOST_DAYS} d."
        raise Invalid.one("days", "out_of_range", words, value=days, limit=outlook.MOST_DAYS)
    # Two runs at once would both propose the same.
    Site.objects.select_for_update(no_key=True).get(pk=site.pk)
    today = clock.today(site)
    stock = outlook.stock(site, today)
    usual = usual_use(site, today)
    materials = Material.objects.in_bulk({*stock, *usual})
    offered = offers(materials)
    PurchaseProposal.objects.filter(site=site, status=ProposalStatus.PROPOSED).delete()
    wanted: list[tuple[Material, list[Need]]] = []
    without: list[Material] = []
    for pk, material in sorted(materials.items(), key=lambda x: x[1].code):
        own = offered.get(pk, {})
        one = stock.get(pk, outlook.Stock())
        lead = min((o.lead_days for o in own.values()), default=0)
        needs = _needs(one, usual.get(pk), today, days, lead)
        if needs and not own:
            without.append(material)
        elif needs:
            wanted.append((material, needs))
    made, impossible, not_in_time = plan_all(site, wanted, offered, today)
    kept = PurchaseProposal.objects.bulk_create(made)
    telling.proposed(site, kept)
    return WorkedOut(tuple(kept), tuple(without), tuple(impossible), tuple(not_in_time))


def _needs(
    stock: outlook.Stock, habit: UsualUse | None, today: date, days: int, lead: int
) -> list[Need]:
    uses = list(stock.uses)
    if habit is not None:
        uses += _unplanned(uses, habit, today, days, lead)
    ahead = project(stock.supplies, uses, start=today, days=days)
    return [Need(s.day, s.never_met, s.pour) for s in ahead.short_pours if s.never_met > 1e-6]


def _unplanned(
    uses: Iterable[Use], habit: UsualUse, today: date, days: int, lead: int
) -> list[Use]:
    """Add what is usually taken beyond the plan each week, and the stock to keep against more."""
    planned: dict[int, float] = defaultdict(float)
    for use in uses:
        planned[(use.day - today).days // 7] += use.quantity
    extra = [
        Use(today + timedelta(days=7 * week + 3), habit.mean_week - planned[week], USUAL_USE)
        for week in range(days // 7)
        if habit.mean_week > planned[week]
    ]
    kept = reorder(
        habit.mean_week, habit.sd_week, max(1.0, lead / 7), 0.0, service_factor(SERVICE)
    )
    if kept.safety_stock > 1e-6:
        day = today + timedelta(days=min(lead, days - 1))
        extra.append(Use(day, round(kept.safety_stock, 4), SAFETY_STOCK))
    return extra


def plan_all(
    site: Site,
    wanted: Iterable[tuple[Material, list[Need]]],
    offered: Mapping[int, Mapping[int, Offer]],
    today: date,
) -> tuple[list[PurchaseProposal], list[tuple[Material, str]], list[Material]]:
    """
    Choose a supplier for each material, then plan what each supplier shall send together.

    Returns
    -------
    tuple
        Proposals, materials that cannot be bought with the reason, and those for which the time
        ran out before any purchase was found.
    """
    rows = list(wanted)
    solves = sum(len(offered[m.pk]) for m, _ in rows) + len(rows)
    seconds = min(SECONDS, SECONDS_IN_ALL / max(1, solves))
    groups: dict[tuple[int, int], list[_Choice]] = defaultdict(list)
    impossible: list[tuple[Material, str]] = []
    not_in_time: list[Material] = []
    for material, needs in rows:
        try:
            choice = _choose(material, needs, offered[material.pk], today, seconds)
        except NoPlanInTime:
            not_in_time.append(material)
            continue
        except NoPlan as reason:
            impossible.append((material, str(reason)))
            continue
        groups[choice.supplier, choice.wanted.offer.lead_days].append(choice)
    made: list[PurchaseProposal] = []
    for (supplier, _), choices in groups.items():
        together = _together(choices, seconds * len(choices))
        for place, (choice, proposal) in enumerate(zip(choices, together, strict=True)):
            made += _rows(site, choice, supplier, proposal, len(choices), told_saving=not place)
    return made, impossible, not_in_time


@dataclass(frozen=True)
class _Choice:
    """The supplier chosen for a material, and what that costs if it is ordered alone."""

    material: Material
    supplier: int
    wanted: Wanted
    alone: Proposal
    not_compared: tuple[str, ...]


def _choose(
    material: Material,
    needs: list[Need],
    offered: Mapping[int, Offer],
    today: date,
    seconds: float,
) -> _Choice:
    """Return the supplier that is late for fewest pours, then the cheapest of one currency."""
    found: list[tuple[int, float, int, Wanted, Proposal]] = []
    reasons, ran_out = [], False
    for supplier, offer in offered.items():
        terms = _terms(material, offer, today)
        wanted = Wanted(material.name, material.unit, tuple(needs), offer, terms)
        try:
            (proposal,) = propose_together([wanted], seconds=seconds)
        except NoPlan as reason:
            ran_out |= isinstance(reason, NoPlanInTime)
            reasons.append(f"{offer.supplier}: {reason}")
            continue
        late = sum(len(order.late_for) for order in proposal.orders)
        found.append((late, proposal.cost, supplier, wanted, proposal))
    if not found:
        raise (NoPlanInTime if ran_out else NoPlan)("; ".join(reasons))
    in_time = [one for one in found if one[0] == min(late for late, *_ in found)]
    used = [one[3].offer.currency for one in in_time]
    # Most suppliers' currency, of equals the usual one: bare numbers would compare yen with euro.
    currency = max(used, key=lambda c: (used.count(c), c == home_currency(), c))
    others = tuple(
        f"{one[3].offer.supplier} ({one[3].offer.currency})"
        for one in in_time
        if one[3].offer.currency != currency
    )
    same = [one for one in in_time if one[3].offer.currency == currency]
    _, _, supplier, wanted, proposal = min(same, key=lambda one: one[:3])
    return _Choice(material, supplier, wanted, proposal, others)


def _together(choices: list[_Choice], seconds: float) -> tuple[Proposal, ...]:
    """Plan the materials of one supplier in shared orders, where that is cheaper than alone."""
    alone = tuple(choice.alone for choice in choices)
    if len(choices) == 1:
        return alone
    try:
        found = propose_together([c.wanted for c in choices], seconds=min(seconds, MOST_SECONDS))
    except NoPlan:
        return alone
    return found if found[0].cost < sum(one.cost for one in alone) else alone


def _terms(material: Material, offer: Offer, today: date) -> Terms:
    arrives = today + timedelta(days=offer.lead_days)
    until = usable_on_arrival(arrives, material.shelf_life_months)
    return Terms(
        today,
        HOLDING_RATE_PER_YEAR,
        (until - arrives).days if until else None,
        service_factor(SERVICE),
    )


def _rows(
    site: Site,
    choice: _Choice,
    supplier: int,
    proposal: Proposal,
    materials: int,
    *,
    told_saving: bool,
) -> list[PurchaseProposal]:
    material = choice.material
    rows = [_row(site, material, supplier, order, proposal) for order in proposal.orders]
    if rows and proposal.saved > 0.005 and (told_saving or proposal is choice.alone):
        it = "It costs" if len(rows) == 1 else "Together these orders cost"
        if materials > 1 and proposal is not choice.alone:
            it = f"The orders of {materials} materials from {choice.wanted.offer.supplier} cost"
        rows[0].money_sentence += (
            f" {it} {proposal.saved:.2f} {rows[0].currency} less than one order for each need, "
            "storage and order costs included."
        )
    if rows and choice.not_compared:
        rows[
            0
        ].money_sentence += (
            f" Not compared with {', '.join(choice.not_compared)}: prices in another currency."
        )
    if rows and proposal.wasted > 1e-6:
        rows[0].sentence += (
            f" {proposal.wasted:.4g} {material.unit} of it will expire: every way without waste "
            "is dearer, or there is none."
        )
    return rows


def _row(
    site: Site, material: Material, supplier: int, order: ProposedOrder, proposal: Proposal
) -> PurchaseProposal:
    return PurchaseProposal(
        site=site,
        supplier_id=supplier,
        material=material,
        order_on=order.order_on,
        arrives_on=order.arrives_on,
        quantity=Decimal(f"{order.quantity:.4f}"),
        packs=[list(pair) for pair in order.packs],
        covers=[list(pair) for pair in order.covers],
        left_over=Decimal(f"{order.left_over:.4f}"),
        usable_until=order.usable_until,
        late_for=list(order.late_for),
        sentence=order.sentence,
        money_sentence=order.money_sentence,
        goods_cost=Decimal(f"{order.goods_cost:.2f}"),
        currency=order.currency,
        proven=proposal.proven,
        gap=Decimal(f"{min(proposal.gap, 1.0):.4f}"),
        worked_out_at=clock.now(),
    )


@retried
def approve(*, site: Site, proposal_ids: Iterable[int], by: User | None) -> list[PurchaseOrder]:
    """
    Agree to proposals: they become lines of one approved order for each supplier.

    An approved order that has not been sent takes them in, so that one order goes out.
    """
    rows = _undecided(site, proposal_ids)
    by_supplier: dict[int, list[PurchaseProposal]] = defaultdict(list)
    for row in rows:
        by_supplier[row.supplier_id].append(row)
    orders = []
    for own in by_supplier.values():
        lines = [line for row in own for line in _lines(row)]
        order = _open_order(site, own[0].supplier)
        if order is None:
            order = purchasing.draft(site=site, supplier=own[0].supplier, lines=lines, by=by)
            order = purchasing.approve(order=order, by=by)
        else:
            purchasing.add_lines(order, lines)
            telling.approved(order, by=by, reason="More was added to it")
        _decide(own, ProposalStatus.APPROVED, by, order=order)
        orders.append(order)
    return orders


def _open_order(site: Site, supplier: Supplier) -> PurchaseOrder | None:
    return (
        PurchaseOrder.objects.select_for_update(of=("self",))
        .filter(site=site, supplier=supplier, status=OrderStatus.APPROVED)
        .order_by("pk")
        .first()
    )


def _lines(row: PurchaseProposal) -> list[purchasing.NewLine]:
    found = []
    for name, count in row.packs:
        tiers = Pack.objects.filter(material=row.material, supplier=row.supplier, name=name)
        reached = [t for t in tiers if t.from_packs <= count] or list(tiers)
        if not reached:
            raise NotAgreed(f"{row.supplier} no longer offers {name} of {row.material}.")
        tier = max(reached, key=lambda t: t.from_packs)
        found.append(
            purchasing.NewLine(
                material=row.material,
                pack_name=name,
                content=tier.content,
                packs=count,
                expected_on=row.arrives_on,
                pack_price=tier.price,
                supplier_item=tier.supplier_item,
            )
        )
    return found


@retried
def refuse(
    *, site: Site, proposal_ids: Iterable[int], reason: str, by: User | None
) -> list[PurchaseProposal]:
    """Turn proposals down, with a reason; the next run may propose anew."""
    if not reason.strip():
        raise Invalid.one("reason", "required", "reason is empty; say why it is not bought.")
    rows = _undecided(site, proposal_ids)
    _decide(rows, ProposalStatus.REFUSED, by, refusal=reason.strip()[:200])
    return rows


def _undecided(site: Site, proposal_ids: Iterable[int]) -> list[PurchaseProposal]:
    wanted = sorted(set(proposal_ids))
    if not wanted:
        raise Invalid.one("proposals", "empty", "proposals is empty; choose at least one.")
    rows = list(
        PurchaseProposal.objects.select_for_update(of=("self",))
        .select_related("supplier", "material")
        .filter(site=site, pk__in=wanted, status=ProposalStatus.PROPOSED)
        .order_by("pk")
    )
    missing = sorted(set(wanted) - {row.pk for row in rows})
    if missing:
        listed = ", ".join(map(str, missing))
        raise NotAgreed(
            f"Proposal {listed} was decided, or worked out anew, since it was shown; look again."
        )
    return rows


def _decide(
    rows: Iterable[PurchaseProposal],
    status: ProposalStatus,
    by: User | None,
    *,
    order: PurchaseOrder | None = None,
    refusal: str = "",
) -> None:
    for row in rows:
        row.status, row.decided_at, row.decided_by = status, clock.now(), by
        row.order, row.refusal = order, refusal
        row.version += 1
        row.save(
            update_fields=["status", "decided_at", "decided_by", "order", "refusal", "version"]
        )
