"""From a tool back to its lots and from a lot to its tools, through real plans and weigh-ins."""

from datetime import timedelta
from decimal import Decimal

import pytest

from planning.batches.models import Batch
from planning.weigh_in import actions
from planning.weigh_in.wanted import wanted_stock
from shared.access.models import User
from shop.ledger.audit import differences
from shop.models import Container, Lot
from shop.tools.actions import open_tool_record
from shop.trace import queries


@pytest.fixture
def batch(planned):
    planned()
    return Batch.objects.get()


def weigh(batch, role, **more):
    line = batch.lines.get(role=role)
    at = batch.planned_start
    values = {"weighed_kg": line.target_kg, "key": f"k-{role}", "at": at, "now": at}
    actions.record_weighing(line=line, **values | more)
    return line


@pytest.fixture
def cast(batch, now):
    """A pot weighed by Tess and a record of the casting it went into."""
    tess = User.objects.get(username="tess")
    lines = [weigh(batch, role, by=tess) for role in ("resin", "hardener")]
    at = batch.planned_contact
    actions.record_entry(
        batch=batch, kind="conditions", key="c", at=at, now=at, by=tess,
        facts={"air_c": "19.5", "surface_c": "18.0", "humidity_percent": "45"},
    )  # fmt: skip
    pour = batch.portions.get().lift.pour
    open_tool_record(
        tool_id=pour.order.tool_id, half="A", casting=f"pour:{pour.pk}",
        at=now + timedelta(days=3), verdict="accept", facts={},
    )  # fmt: skip
    return pour.order.tool, lines


def test_a_tool_leads_to_its_lots_weights_people_and_temperatures(cast):
    tool, lines = cast
    trace = queries.tool_trace(tool)
    assert {(t.lot.pk, t.quantity) for t in trace.taken} == {
        (line.container.lot_id, line.target_kg) for line in lines
    }
    use = trace.taken[0].use
    assert use.people == ("Tess",)
    assert dict(use.temperatures) == {"air": Decimal("19.5"), "surface": Decimal("18.0")}
    assert [part.tool_id for part in use.parts] == [tool.pk]
    assert use.url.startswith("/batches/")


def test_a_lot_leads_to_its_tool_and_a_recall_finds_its_partner(cast):
    tool, lines = cast
    resin = Lot.objects.get(pk=lines[0].container.lot_id)
    assert list(queries.lot_trace(resin).tools) == [tool]
    touched = {lot.pk for lot in queries.touched_lots(resin)}
    assert touched == {line.container.lot_id for line in lines}


def test_reservations_agree_with_the_plan_until_the_pot_is_weighed(batch):
    assert differences() == []
    assert len(wanted_stock()) == 2
    resin = batch.lines.get(role="resin")
    weigh(batch, "resin", weighed_kg=Decimal("0.1"))
    assert wanted_stock()[f"batch:{batch.pk}:{resin.order}"] == resin.target_kg - Decimal("0.1")
    assert differences() == []


def test_weighing_from_another_can_gives_the_reservation_back(batch):
    line = batch.lines.get(role="resin")
    lots = Container.objects.filter(lot__material=line.container.lot.material, balance__gt=5)
    other = lots.exclude(pk=line.container_id).first()
    weigh(batch, "resin", container_code=other.code, reason="the first can was empty")
    assert f"batch:{batch.pk}:{line.order}" not in wanted_stock()
    assert differences() == []


def test_a_reservation_taken_away_is_found(batch):
    from shop import stores

    line = batch.lines.get(role="resin")
    stores.free_reservations(purposes=[f"batch:{batch.pk}:{line.order}"])
    [found] = differences()
    assert found.kind == "purpose"
    assert "0 is set aside" in found.words
