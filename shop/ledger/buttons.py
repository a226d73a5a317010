"""What the buttons of a lot's page do: one function a button, answering in a sentence."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from shared import clock
from shared.errors import Invalid
from shop import page_forms as forms
from shop.ledger import actions as ledger
from shop.ledger import booking, mixing
from shop.ledger.models import Movement, MovementKind
from shop.ledger.owned import refuse_owned
from shop.ledger.posting import amount
from shop.lots import actions as lots
from shop.lots.models import Container, Lot
from shop.lots.queries import clocks
from shop.recalls import actions as recalls
from shop.recalls.queries import in_force
from shop.sites.models import Location

Button = Callable[[Any, Lot], str]


def _container(request: Any, lot: Lot) -> Container:
    found = forms.chosen(request.POST, "container", lot.containers.select_related("lot__material"))
    if found is None:
        raise Invalid.one("container", "required", "container is missing; choose one.")
    return found


def _key(request: Any) -> str:
    key = forms.text(request.POST, "key", 64)
    if not key:
        raise Invalid.one("key", "required", "The form has no key; load the page again.")
    return f"page:{key}"


def hold(request: Any, lot: Lot) -> str:
    """Stop the lot from being issued."""
    lots.hold([lot.pk], reason=forms.text(request.POST, "reason"))
    return f"Lot {lot.code} is held."


def release(request: Any, lot: Lot) -> str:
    """Let the lot be used."""
    lots.release(lot.pk, reason=forms.text(request.POST, "reason"))
    return f"Lot {lot.code} is released for use."


def lift(request: Any, lot: Lot) -> str:
    """Lift the recall that is in force; the lot stays held until it is released."""
    found = in_force(site_id=lot.site_id, material_id=lot.material_id, lot_code=lot.code).first()
    if found is None:
        raise Invalid.one("recall", "does_not_exist", f"No recall of lot {lot.code} is in force.")
    reason = forms.text(request.POST, "reason")
    recalls.lift(found.pk, reason=reason, at=clock.now(), by=request.user)
    return f"The {found} is lifted; lot {lot.code} stays held until it is released."


def retest(request: Any, lot: Lot) -> str:
    """Extend the lot, once."""
    until = forms.day(request.POST, "expires_on")
    if until is None:
        raise Invalid.one("expires_on", "required", "expires_on is empty; type the new last day.")
    evidence = forms.text(request.POST, "evidence")
    lots.retest(lot.pk, expires_on=until, evidence=evidence, now=clock.now(), by=request.user)
    return f"Lot {lot.code} may be used until {until}."


def correct(request: Any, lot: Lot) -> str:
    """Put a mistyped expiry right."""
    typed = forms.day(request.POST, "expires_on")
    reason = forms.text(request.POST, "reason")
    found = lots.correct_expiry(
        lot.pk,
        expires_on=typed,
        reason=reason,
        now=clock.now(),
        evidence=forms.text(request.POST, "evidence"),
        may_lengthen=request.access.may("shelf_life:write", lot.site_id),
    )
    if found.expires_on is None:
        return f"Lot {lot.code} does not expire."
    stricter = "" if found.expires_on == typed else " by its shelf life, which is stricter"
    return f"Lot {lot.code} is usable to the end of {found.expires_on}{stricter}."


def certificate(request: Any, lot: Lot) -> str:
    """Keep the supplier's certificate."""
    file = request.FILES.get("file")
    if file is None:
        raise Invalid.one("file", "required", "file is missing; choose a PDF, PNG or JPEG.")
    words = forms.text(request.POST, "certificate")
    lots.attach_certificate(lot.pk, certificate=lots.read_certificate(file), words=words)
    return f"The certificate is kept with lot {lot.code}."


def finish(request: Any, lot: Lot) -> str:
    """Close the lot."""
    lots.finish(lot.pk, reason=forms.text(request.POST, "reason"))
    return f"Lot {lot.code} is finished."


def open_container(request: Any, lot: Lot) -> str:
    """Begin the open life."""
    container = _container(request, lot)
    lots.open_container(container.pk, at=clock.now())
    return f"Container {container.code} is open; its open life runs."


def move(request: Any, lot: Lot) -> str:
    """Put a container on another shelf."""
    container = _container(request, lot)
    shelves = Location.objects.filter(site=lot.site, in_use=True)
    shelf = forms.chosen(request.POST, "location", shelves)
    if shelf is None:
        raise Invalid.one("location", "required", "location is missing; choose a shelf.")
    lots.place(container.pk, location=shelf, at=clock.now(), by=request.user)
    return f"Container {container.code} stands at {shelf.name}."


def split(request: Any, lot: Lot) -> str:
    """Move part of a container into a new one."""
    container = _container(request, lot)
    unit = lot.material.unit
    quantity = forms.number(request.POST, "quantity", unit)
    shelves = Location.objects.filter(site=lot.site, in_use=True)
    made = booking.split(
        container=container,
        quantity=quantity,
        key=_key(request),
        by=request.user,
        location=forms.chosen(request.POST, "location", shelves),
        reason=forms.text(request.POST, "reason"),
    )
    return f"{amount(quantity, unit)} went into container {made.code}; print its label."


def mix(request: Any, lot: Lot) -> str:
    """Pour part of a container together with a container of another lot."""
    container, unit = _container(request, lot), lot.material.unit
    quantity = forms.number(request.POST, "quantity", unit)
    other = mixing.can_by_code(lot.site_id, forms.text(request.POST, "other", 400))
    into = other if other.lot.mixed else None
    parts = [(container.pk, quantity), *([] if into else [(other.pk, other.balance)])]
    made = mixing.mix(
        parts=parts,
        into=into,
        key=_key(request),
        at=clock.now(),
        by=request.user,
        location=other.location,
    )
    return (
        f"{made.code} holds {amount(made.balance, unit)}, usable until "
        f"{clocks(made).until or 'no limit'}; print its label."
    )


def _taking(kind: MovementKind, words: str) -> Button:
    def take(request: Any, lot: Lot) -> str:
        container, unit = _container(request, lot), lot.material.unit
        quantity = forms.number(request.POST, "quantity", unit)
        ledger.take_out(
            kind=kind,
            container_id=container.pk,
            quantity=quantity,
            key=_key(request),
            counterpart=booking.side_of(kind, container),
            happened_at=clock.now(),
            by=request.user,
            reason=forms.text(request.POST, "reason"),
        )
        return f"{amount(quantity, unit)} of container {container.code} {words}."

    return take


def reverse(request: Any, lot: Lot) -> str:
    """Undo one movement of the lot."""
    row = forms.chosen(request.POST, "movement", Movement.objects.filter(container__lot=lot))
    reason = forms.text(request.POST, "reason")
    if row is None or not reason:
        words = "reason is empty; choose the movement and say what was wrong with it."
        raise Invalid.one("reason", "required", words)
    refuse_owned(row.key)
    ledger.reverse(
        key_of_original=row.key,
        key=f"undo:{row.pk}",
        reason=reason,
        by=request.user,
        happened_at=clock.now(),
    )
    return f"{row.get_kind_display()} of {amount(abs(row.quantity), lot.material.unit)} is undone."


BUTTONS: dict[str, tuple[str, Button]] = {
    "hold": ("lots:write", hold),
    "release": ("releases:write", release),
    "lift": ("releases:write", lift),
    "retest": ("shelf_life:write", retest),
    "correct": ("lots:write", correct),
    "attach": ("lots:write", certificate),
    "finish": ("lots:write", finish),
    "open": ("lots:write", open_container),
    "move": ("lots:write", move),
    "split": ("movements:write", split),
    "mix": ("movements:write", mix),
    "sample": ("movements:write", _taking(MovementKind.SAMPLE, "was taken as a sample")),
    "scrap": ("movements:write", _taking(MovementKind.SCRAP, "was scrapped")),
    "return": ("movements:write", _taking(MovementKind.RETURN, "goes back to the supplier")),
    "reverse": ("movements:write", reverse),
}
"""Name of a button to the scope it needs and what it does."""
