"""What the batch page is told: the strictest pot life, and every mass as exact text."""

import json
from datetime import timedelta

import pytest
from django.core.serializers.json import DjangoJSONEncoder

from planning.batches.models import Batch
from planning.weigh_in import actions
from planning.weigh_in.page_state import batch_with_parts, state_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def told(planned, shop_site):
    """Tell the page's state after the air was measured, or without."""
    planned()
    batch = Batch.objects.get()

    def make(air_c=None):
        if air_c is not None:
            at = batch.planned_start
            actions.record_entry(
                batch=batch,
                kind="conditions",
                key=f"air-{air_c}",
                at=at,
                now=at,
                facts={"air_c": str(air_c)},
            )
        return batch, state_of(batch_with_parts(batch.pk, shop_site.pk), batch.planned_start)

    return make


def test_the_planned_pot_life_holds_until_something_else_is_measured(told):
    batch, state = told()
    assert (state["pot_life_min"], state["pot_life_basis"]) == (
        batch.pot_life_min,
        batch.pot_life_basis,
    )


def test_a_warmer_shop_shortens_the_pot_and_a_cooler_one_does_not_lengthen_it(told):
    batch, warm = told(32)
    assert 0 < warm["pot_life_min"] < batch.pot_life_min
    assert "measured 32 °C" in warm["pot_life_basis"]
    shift = timedelta(minutes=warm["pot_life_min"])
    assert warm["latest_pour_at"] == batch.planned_contact + shift
    _, cool = told(15)
    assert cool["pot_life_min"] == batch.pot_life_min


def test_masses_arrive_as_the_text_that_was_planned(told):
    batch, state = told()
    plain = json.loads(json.dumps(state, cls=DjangoJSONEncoder))
    assert [line["target_kg"] for line in plain["lines"]] == [
        str(line.target_kg) for line in batch.lines.all()
    ]


def test_the_page_knows_every_can_of_the_two_materials_and_no_other(told):
    batch, state = told()
    materials = {line.container.lot.material.name for line in batch.lines.all()}
    assert {can["material"] for can in state["cans"]} == materials
    known = {can["code"]: can for can in state["cans"]}
    for line in batch.lines.all():
        assert known[line.container.code]["role"] == line.role
    resin = state["lines"][0]
    assert resin["in_can_kg"] >= resin["target_kg"]


def test_a_batch_of_another_site_is_not_found(told, shop_site):
    batch, _ = told()
    assert batch_with_parts(batch.pk, shop_site.pk + 1) is None
