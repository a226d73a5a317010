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
from shop.core.buying import SAFETY_STOCK, Need, Offer, Proposal, ProposedOrder, Terms, propose
from shop.core.outlook import Use, project
from shop.core.safety import reorder, service_factor
from shop.materials.models import Material, Pack, Supplier
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


@dataclass(frozen=True)
class WorkedOut:
    """The proposals of one run, and what can't be bought because nobody offers it."""

    proposals: tuple[PurchaseProposal, ...]
    no_offer: tuple[Material, ...] = field(default=())


@retried
def work_out(*, site: Site, days: int = HORIZON_DAYS) -> WorkedOut:
    """
    Propose what to buy, in place of what was proposed before and not decided.

    Several pours' needs are pooled. Of several suppliers the one that comes in time, lets least
    expire and costs least is taken.
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
    made: list[PurchaseProposal] = []
    without: list[Material] = []
    for pk, material in sorted(materials.items(), key=lambda x: x[1].code):
        own = offered.get(pk, {})
        one = stock.get(pk, outlook.Stock())
        habit = usual.get(pk)
        lead = min((o.lead_days for o in own.values()), default=0)
        needs = _needs(one, habit, today, days, lead)
        if needs and not own:
            without.append(material)
        elif needs:
            supplier, proposal = _best(material, needs, own, today, habit)
            made += _rows(site, material, supplier, proposal)
    return WorkedOut(tuple(PurchaseProposal.objects.bulk_create(made)), tuple(without))


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


def _best(
    material: Material,
    needs: list[Need],
    offered: Mapping[int, Offer],
    today: date,
    habit: UsualUse | None,
) -> tuple[int, Proposal]:
    found = []
    for supplier, offer in offered.items():
        terms = _terms(material, offer, today, habit)
        proposal = propose(material.name, material.unit, needs, offer, terms)
        late = sum(len(order.late_for) for order in proposal.orders)
        found.append((late, round(proposal.wasted, 4), proposal.cost, supplier, proposal))
    best = min(found, key=lambda x: x[:4])
    return best[3], best[4]


def _terms(material: Material, offer: Offer, today: date, habit: UsualUse | None) -> Terms:
    arrives = today + timedelta(days=offer.lead_days)
    until = usable_on_arrival(arrives, material.shelf_life_months)
    return Terms(
        today,
        HOLDING_RATE_PER_YEAR,
        (until - arrives).days if until else None,
        service_factor(SERVICE),
        habit.mean_week / 7 if habit else 0.0,
    )


def _rows(
    site: Site, material: Material, supplier: int, proposal: Proposal
) -> list[PurchaseProposal]:
    rows = [_row(site, material, supplier, order, proposal.proven) for order in proposal.orders]
    if rows and proposal.saved > 0.005:
        it = "It costs" if len(rows) == 1 else "Together these orders cost"
        rows[0].money_sentence += (
            f" {it} {proposal.saved:.2f} {rows[0].currency} less than one order for each need, "
            "storage and order costs included."
        )
    if rows and proposal.wasted > 1e-6:
        rows[0].sentence += (
            f" {proposal.wasted:.4g} {material.unit} of it will expire: the packs leave no way "
            "round that."
        )
    return rows


def _row(
    site: Site, material: Material, supplier: int, order: ProposedOrder, proven: bool
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
        proven=proven,
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
