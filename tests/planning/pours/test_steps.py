"""Signing steps of work: in their order, and with what they use up issued."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.db.models import ProtectedError

from planning.pours.steps import sign_step
from planning.routes.actions import change_route
from planning.routes.models import Route
from planning.schedule.confirming import step_needs
from shared.errors import Invalid
from shop.ledger.models import Movement
from shop.materials.models import Material


def test_a_step_is_signed_between_those_before_and_after_it(take, now):
    first, second, third = take().steps.filter(phase="before").order_by("order")[:3]
    sign_step(step=first, at=now - timedelta(hours=3), now=now)
    with pytest.raises(Invalid, match=f"before {first.name} was signed"):
        sign_step(step=second, at=now - timedelta(days=9), now=now)
    with pytest.raises(Invalid, match="must not be in the future"):
        sign_step(step=second, at=now + timedelta(hours=1), now=now)
    sign_step(step=third, at=now - timedelta(hours=1), now=now)
    with pytest.raises(Invalid, match=f"after {third.name} was signed"):
        sign_step(step=second, at=now, now=now)
    sign_step(step=second, at=now - timedelta(hours=2), now=now)
    second.refresh_from_db()
    assert second.done_at == now - timedelta(hours=2)


@pytest.fixture
def waxing(shop_site):
    """A route whose one step uses wax: some for the tool, and some for each square metre."""
    material = Material.objects.get(code="WAX")
    rows = [
        {"material": "WAX", "quantity": "0.02", "per": "tool"},
        {"material": "WAX", "quantity": "0.5", "per": "m2"},
    ]
    step = {"phase": "before", "name": "Wax", "hands_min": 5, "materials": rows}
    change_route(route=Route.objects.get(code="single"), changes={"steps": [step]})
    return material


def test_a_step_uses_what_its_route_says_for_the_tool_and_its_area(waxing, take, now):
    pour = take(release_area_m2="0.3")
    step = pour.steps.get()
    assert [(row.material, row.quantity) for row in step.materials.all()] == [
        (waxing, Decimal("0.17"))  # 0.02 + 0.5 * 0.3
    ]
    sign_step(step=step, at=now, now=now)
    assert sum(m.quantity for m in Movement.objects.filter(counterpart=f"pour:{pour.pk}")) == (
        Decimal("-0.17")
    )


def test_a_renamed_material_stays_what_a_step_needs_and_uses(waxing, take, now):
    pour = take()
    step = pour.steps.get()
    step.planned_start = now
    step.save()
    before = step_needs(pour)
    assert [row.material_id for row in before] == [waxing.pk]
    Material.objects.filter(pk=waxing.pk).update(code="WAX-NEW", name="Wax by its new name")
    assert step_needs(pour) == before
    sign_step(step=step, at=now, now=now)
    assert Movement.objects.filter(counterpart=f"pour:{pour.pk}").exists()


def test_a_material_that_a_step_names_cannot_be_deleted(shop_site):
    material = Material.objects.create(code="TAPE-9", name="Tape", kind="consumable", unit="m")
    row = {"material": "TAPE-9", "quantity": "1"}
    step = {"phase": "before", "name": "Tape", "hands_min": 5, "materials": [row]}
    change_route(route=Route.objects.get(code="single"), changes={"steps": [step]})
    with pytest.raises(ProtectedError):
        material.delete()
