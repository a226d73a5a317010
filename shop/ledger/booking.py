"""From what a caller or a page sends to the ledger's verbs."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from shared import clock
from shared.access.models import Site, User
from shared.errors import Invalid
from shared.retry import retried
from shared.times import happened
from shop.errors import KeyReused
from shop.keys import key_for
from shop.ledger import actions
from shop.ledger.goods_in import Goods, Pack
from shop.ledger.models import Movement, MovementKind
from shop.ledger.owned import refuse_owned
from shop.ledger.posting import locked
from shop.ledger.serializers import SIDES
from shop.lots.actions import place
from shop.lots.labels import new_container
from shop.lots.models import Container
from shop.materials.scanning import read_goods_scan
from shop.materials.suppliers import Supplier
from shop.page_forms import row_id
from shop.sites.models import Location
from shop.stores_types import MovementInfo
from shop.trace import providers


def record(body: Mapping[str, Any], *, who: str, by: User) -> MovementInfo:
    """Write the movement that a caller asked for."""
    shared = {
        "key": key_for(who, body.get("client_reference")),
        "happened_at": happened(body.get("happened_at"), now=clock.now(), field="happened_at"),
        "by": by,
        "reason": body.get("reason", ""),
    }
    if "reverses" in body:
        refuse_owned(body["reverses"].key)
        return actions.reverse(key_of_original=body["reverses"].key, **shared)
    container, kind = body["container"], MovementKind(body["kind"])
    if body.get("counterpart"):
        _refuse_unknown_side(kind, body["counterpart"], container.lot.site_id)
    about = {
        "container_id": container.pk,
        "quantity": body["quantity"].of(container.lot.material),
        "counterpart": body.get("counterpart") or side_of(kind, container),
        **shared,
    }
    if kind == MovementKind.ISSUE:
        return actions.issue(purpose=body.get("purpose", ""), **about)
    return actions.take_out(kind=kind, **about)


def _refuse_unknown_side(kind: MovementKind, counterpart: str, site_id: int) -> None:
    """Refuse another side that is no row of this site; words of one's own go behind `other:`."""
    if counterpart == SIDES.get(kind):
        return
    head = counterpart.partition(":")[0]
    if kind == MovementKind.RETURN and head == "supplier":
        known = (
            counterpart == "supplier:unknown"
            or Supplier.objects.filter(
                pk=row_id(counterpart.removeprefix("supplier:")) or 0
            ).exists()
        )
    else:
        actions.refuse_unknown_use(counterpart)
        use = providers.uses([counterpart]).get(counterpart)
        known = head == "other" or (use is not None and use.site_id == site_id)
    if not known:
        words = f"counterpart is {counterpart[:60]!r}; there is no such {head} at this site."
        raise Invalid.one("counterpart", "does_not_exist", words, value=counterpart[:60])


def side_of(kind: MovementKind, container: Container) -> str:
    """Return the other side of a movement that names none."""
    if kind == MovementKind.RETURN and container.lot.supplier_id:
        return f"supplier:{container.lot.supplier_id}"
    return SIDES[kind]


@retried
def split(
    *,
    container: Container,
    quantity: Decimal,
    key: str,
    by: User | None,
    into: Container | None = None,
    code: str = "",
    location: Location | None = None,
    reason: str = "",
) -> Container:
    """
    Move part of a container into another of its lot, or into a new one.

    A repeat of the key returns the container that was filled the first time.
    """
    now = clock.now()
    # The lot is locked before a code is chosen: two splits at once would choose the same.
    locked([container.pk])
    if done := Movement.objects.filter(key=f"{key}:{actions.IN}").first():
        return _split_before(done, container, quantity)
    if into is None:
        into = new_container(container.lot, code=code, plain=False)
        shelf = location or container.location
        if shelf is not None:
            into = place(into.pk, location=shelf, at=now, by=by)
    actions.transfer(
        from_container_id=container.pk,
        to_container_id=into.pk,
        quantity=quantity,
        key=key,
        happened_at=now,
        by=by,
        reason=reason,
    )
    into.refresh_from_db()
    return into


def _split_before(done: Movement, container: Container, quantity: Decimal) -> Container:
    if (done.counterpart, done.quantity) != (f"container:{container.pk}", quantity):
        raise KeyReused(f"The key {done.key} was used for another split; use a new key.")
    return done.container


def goods_of(body: Mapping[str, Any], at: str, site: Site) -> Goods:
    """Return one lot of a delivery from what was typed and what was scanned."""
    body = _with_scan(body, at, site)
    for name in ("material", "lot_code"):
        if not body.get(name):
            words = f"{name} is missing; type it, or scan the label."
            raise Invalid.one(f"{at}/{name}", "required", words)
    material = body["material"]
    packs = []
    for n, one in enumerate(body.get("containers") or ()):
        pointer = f"{at}/containers/{n}/quantity"
        given = one.get("quantity")
        quantity = given.of(material, pointer) if given else body.get("scanned_quantity")
        if quantity is None:
            words = f"{pointer} is missing, and the label does not say it."
            raise Invalid.one(pointer, "required", words)
        packs.append(Pack(quantity, one.get("location"), one.get("code", "")))
    if not body.get("containers") and body.get("scanned_quantity"):
        packs = [Pack(body["scanned_quantity"])] * (body.get("scanned_count") or 1)
    return Goods(
        material=material,
        lot_code=body["lot_code"],
        containers=packs,
        supplier=body.get("supplier"),
        made_on=body.get("made_on"),
        expires_on=body.get("expires_on"),
        unit_cost=body.get("unit_cost"),
        certificate=body.get("certificate", ""),
    )


def _with_scan(body: Mapping[str, Any], at: str, site: Site) -> dict[str, Any]:
    """Fill in what the label says; where it contradicts what was typed, ask."""
    if not body.get("scan"):
        return dict(body)
    supplier = body.get("supplier")
    today = clock.today(site)
    try:
        scan = read_goods_scan(body["scan"], today, supplier.pk if supplier else None)
    except Invalid as error:
        raise Invalid.one(f"{at}/scan", error.problems[0].code, error.message) from error
    read = {
        "material": scan.material,
        "lot_code": scan.lot_code,
        "made_on": scan.made_on,
        "expires_on": scan.expires_on,
    }
    for name, value in read.items():
        if value is not None and body.get(name) not in (None, value):
            words = f"{name} is {body[name]}, the scanned label says {value}; compare the label."
            raise Invalid.one(f"{at}/{name}", "differs_from_scan", words, value=body[name])
    found: dict[str, Any] = {n: value for n, value in read.items() if value is not None}
    if supplier is None and scan.pack is not None:
        found["supplier"] = scan.pack.supplier
    return {
        **body, **found, "scanned_quantity": scan.quantity, "scanned_count": scan.count,
    }  # fmt: skip
