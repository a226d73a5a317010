"""A system with filler, from the order over plan, sheet and scale to the ledger and the trace."""

import io
from dataclasses import replace
from datetime import timedelta
from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError
from pypdf import PdfReader

from planning.batch_sheets.pdf import sheet_pdf
from planning.batch_sheets.queries import sheet
from planning.batches.models import Batch
from planning.core.casting.cautions import cautions_of
from planning.system_data import system_data
from planning.weigh_in import actions, contents
from planning.weigh_in.page_state import batch_with_parts, state_of
from shared import clock
from shared.errors import ShopError
from shop import stores
from shop.ledger.models import Movement, Requirement
from shop.materials.components import SystemComponent
from shop.materials.models import ResinSystem
from shop.registers import change, enter
from shop.trace import queries as trace
from tests.factories.floor import sign_off
from tests.factories.shop import make_container, make_lot, make_material


@pytest.fixture
def filler(shop_site, now):
    """40 parts of chalk to 100 of resin in system Q, within 3 %, and 5 kg of it on the shelf."""
    chalk = make_material(code="CHALK", name="Chalk", kind="filler")
    made = enter(
        SystemComponent, system=ResinSystem.objects.get(code="Q"), name="filler", material=chalk,
        per_100=Decimal(40), tolerance_percent=Decimal(3), source="made up",
    )  # fmt: skip
    can = make_container(make_lot(shop_site, chalk), holds=5, came=now - timedelta(days=9))
    return made, can


@pytest.fixture
def batch(filler, planned):
    planned()
    found = Batch.objects.get()
    sign_off(found)
    return found


def weigh(batch, role, kg=None, key=None, already_kg=None):
    line, at = batch.lines.get(role=role), batch.planned_start
    return actions.record_weighing(
        line=line, weighed_kg=line.target_kg if kg is None else Decimal(kg),
        key=key or f"key-of-{role}", at=at, now=at, already_kg=already_kg,
    )  # fmt: skip


def test_rows_come_in_order_add_up_to_the_batch_and_keep_their_shares(batch, filler):
    rows = list(batch.lines.all())
    assert [row.role for row in rows] == ["resin", "filler", "hardener"]
    resin, chalk, _ = (row.target_kg for row in rows)
    division = batch.scale.readability_g / 1000
    assert all(row.target_kg % division == 0 for row in rows)
    total = sum(row.target_kg for row in rows)
    assert 0 <= total - batch.mixed_kg < 3 * division
    assert abs(chalk / resin * 100 - 40) <= Decimal(40) * Decimal("0.03")
    assert rows[1].container_id == filler[1].pk


def test_an_order_asks_the_stores_for_every_component(filler, take):
    pour = take()
    asked = {
        r.material.code: r.quantity for r in Requirement.objects.filter(source=f"pour:{pour.pk}")
    }
    assert asked["CHALK"] == pytest.approx(asked["RES-Q"] * Decimal("0.4"), abs=Decimal("0.0001"))
    assert set(asked) == {"RES-Q", "CHALK", "HARD-Q"}


def test_a_pour_whose_filler_is_short_has_no_place(filler, take, shop_site, now):
    from planning.schedule import actions as schedule
    from shop.ledger.actions import issue

    issue(
        container_id=filler[1].pk, quantity=Decimal("4.99"), key="gone", counterpart="other:spilt",
        happened_at=now,
    )  # fmt: skip
    take()
    wish = schedule.request_plan(site=shop_site, week="2026-W49", now=now, seconds=10)
    plan = schedule.solve(plan_id=wish.pk, now=now)
    assert plan.violations == []
    (left,) = plan.plan["unplaced"]
    assert left["rule"] == "lot_mass"
    assert "Chalk" in left["words"]


def test_the_pot_is_ready_once_every_component_is_in_and_each_is_issued(batch, filler):
    assert not weigh(batch, "resin").ready
    assert not weigh(batch, "hardener").ready
    assert contents.ratio_off(batch) is None
    assert weigh(batch, "filler").ready
    batch.refresh_from_db()
    assert batch.status == "weighed"
    chalk = Movement.objects.get(container=filler[1], counterpart=f"batch:{batch.pk}")
    assert chalk.quantity == -batch.lines.get(role="filler").target_kg


def test_too_much_filler_asks_for_resin_then_for_hardener(batch):
    line = batch.lines.get(role="filler")
    weigh(batch, "resin")
    weigh(batch, "filler", (line.target_kg * Decimal("1.06")).quantize(Decimal("0.0001")))
    told = weigh(batch, "hardener")
    assert not told.ready
    assert told.correction.add == "resin"
    off = contents.ratio_off(batch)
    assert off.name == "filler"
    assert off.percent == pytest.approx(6, abs=0.2)
    sign_off(batch)
    at = batch.planned_contact
    with pytest.raises(ShopError, match=r"too much filler"):
        actions.record_entry(batch=batch, kind="contact", key="c", at=at, now=at)
    more, there = told.correction.add_g, contents.weighed_kg(batch)["resin"]
    told = weigh(batch, "resin", Decimal(repr(more)) / 1000, key="more", already_kg=there)
    assert told.correction.within_tolerance or told.correction.add == "hardener"


def test_first_contact_is_when_hardener_comes_in_after_all_else(batch):
    for role in ("resin", "filler", "hardener"):
        weigh(batch, role)
    sign_off(batch)
    at = batch.planned_contact
    actions.record_entry(
        batch=batch, kind="conditions", key="a", at=at, now=at,
        facts={"air_c": "21", "surface_c": "21", "humidity_percent": "40"},
    )  # fmt: skip
    actions.record_entry(batch=batch, kind="contact", key="c", at=at, now=at)
    batch.refresh_from_db()
    assert batch.contact_at == at
    weighed = sum(contents.weighed_kg(batch).values())
    offer, _ = contents.offer_of_pot(batch)
    assert offer.pourable_kg == weighed - contents.residue_kg(batch)


def test_page_sheet_and_pdf_show_the_third_component(batch, filler, shop_site):
    day = clock.local(batch.planned_start, shop_site).date()
    shown = sheet(site=shop_site, day=day, on_paper=True)
    (row,) = shown["batches"]
    assert row["ratio"].startswith("100 : 40 filler : ")
    assert "Chalk" in {one["material"] for one in shown["fetch"]}
    data = sheet_pdf(shown, printed_at=batch.planned_start, address="http://shop")
    text = "".join(page.extract_text() for page in PdfReader(io.BytesIO(data)).pages)
    assert "Filler: Chalk" in text
    assert "All filler together" in text
    state = state_of(batch_with_parts(batch.pk, shop_site.pk), batch.planned_start)
    assert [one["role"] for one in state["ratios"]] == ["filler", "hardener"]
    assert {can["role"] for can in state["cans"]} == {"resin", "filler", "hardener"}


def test_the_lot_of_the_filler_leads_to_the_casting(batch, filler):
    for role in ("resin", "filler", "hardener"):
        weigh(batch, role)
    found = trace.lot_trace(filler[1].lot)
    (taken,) = found.taken
    assert taken.quantity == batch.lines.get(role="filler").target_kg
    assert batch.number in taken.use.label


def test_what_a_system_is_mixed_from_cannot_change_under_planned_work(batch, filler):
    component = filler[0]
    with pytest.raises(ShopError, match="stays as the record"):
        component.delete()
    with pytest.raises(ValidationError, match="stays as the record"):
        change(component, name="chalk")
    with pytest.raises(ValidationError, match="is planned"):
        change(SystemComponent.objects.get(), per_100=Decimal(60))
    with pytest.raises(ValidationError, match="is planned"):
        enter(
            SystemComponent, system=component.system, name="pigment", per_100=Decimal(2),
            material=make_material(kind="pigment"), source="made up",
        )  # fmt: skip


def test_the_heat_of_the_mix_falls_with_its_filler_and_what_is_not_known_is_said(filler):
    info = stores.system_by_code("Q")
    neat = replace(info, further=(), kinetics=info.kinetics | {"thermal": {
        "density_kg_m3": 1100, "heat_capacity_j_kgk": 1700, "conductivity_w_mk": 0.2,
        "reactive_fraction": 1.0, "heat_j_kg": 400_000,
    }})  # fmt: skip
    filled = replace(neat, further=info.further)
    per_100 = 100 + float(info.hardener_per_100)
    share = per_100 / (per_100 + 40)
    assert system_data(filled).thermal.adiabatic_rise_k == pytest.approx(
        share * system_data(neat).thermal.adiabatic_rise_k
    )
    assert "further_components" not in {one.code for one in cautions_of(system_data(neat), 20)}
    told = {one.code: one.words for one in cautions_of(system_data(filled), 20)}
    assert "Mixed with filler" in told["further_components"]
