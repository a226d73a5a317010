from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest

from shared.errors import ShopError
from shop import stores
from shop.errors import KeyReused, NotEnoughStock
from shop.ledger.models import Movement, Requirement
from shop.stores_types import NeedRow
from tests.factories.shop import (
    NOW,
    make_container,
    make_lot,
    make_material,
    make_recipe,
    make_site,
    make_system,
    make_tool,
)

pytestmark = pytest.mark.django_db


def test_systems_and_recipes_come_out_as_plain_values():
    system = make_system(post_cure=[{"ramp_k_h": 20, "hold_c": 60, "hold_min": 240}])
    recipe = make_recipe(material=make_material(kind="release_agent", hazard_statements=["H226"]))
    found = stores.system_by_code(system.code)
    assert found == stores.system(system.pk) == stores.systems()[0]
    assert (found.hardener_per_100, found.resin.kind, found.hardener.kind) == (
        20,
        "resin",
        "hardener",
    )
    assert found.post_cure[0]["hold_c"] == 60
    assert stores.recipe(recipe.pk) == stores.recipe_by_code(recipe.code)
    assert stores.recipe(recipe.pk).material.hazard_statements == ("H226",)
    assert stores.hazard_lines([recipe.material_id]) == (("H226", "Flammable liquid and vapour."),)


@pytest.mark.parametrize("ask", [stores.system, stores.recipe, stores.container, stores.tool])
def test_what_does_not_exist_is_a_404_with_a_sentence(ask):
    with pytest.raises(ShopError, match=r"There is no .* 99") as refused:
        ask(99)
    assert refused.value.status == 404


def test_containers_come_first_expired_first_and_opened_before_sealed():
    site, resin = make_site(), make_material(open_life_days=30)
    late = make_lot(site, resin, expires_on=date(2027, 9, 30))
    soon = make_lot(site, resin, expires_on=date(2026, 12, 31))
    never = make_lot(site, resin, expires_on=None)
    make_container(late, holds=5, code="late")
    make_container(never, holds=5, code="never")
    make_container(soon, holds=5, code="soon")
    make_container(soon, code="empty")
    make_container(make_lot(site, resin, status="quarantine"), holds=5)
    make_container(make_lot(make_site(), resin), holds=5)
    opened = make_container(late, holds=5, code="opened", opened_at=NOW)
    found = stores.containers(site.pk, [resin.pk])
    assert [c.code for c in found] == ["opened", "soon", "late", "never"]
    assert found[0].usable_until == datetime(2026, 12, 26, tzinfo=UTC)
    assert found[1].usable_until == datetime(2027, 1, 1, tzinfo=UTC)
    on = stores.containers(site.pk, [resin.pk], usable_on=date(2026, 12, 26))
    assert [c.code for c in on] == ["soon", "late", "never"]
    stores.reserve(container_id=opened.pk, quantity=Decimal(2), purpose="p", needed_at=NOW)
    assert stores.container_by_code(site.pk, "opened").free == 3


def take(site, material, quantity, key="k"):
    return stores.issue_from_material(
        site_id=site.pk,
        material_id=material.pk,
        quantity=Decimal(quantity),
        key=key,
        counterpart="tool:1",
        happened_at=NOW,
    )


def test_taking_a_material_spreads_over_containers_all_or_nothing():
    site, wax = make_site(), make_material(kind="release_agent", unit="L", name="Wax")
    make_container(make_lot(site, wax, expires_on=date(2026, 12, 1)), holds="0.5", code="a")
    make_container(make_lot(site, wax, expires_on=date(2027, 1, 1)), holds=1, code="b")
    make_container(make_lot(site, wax, expires_on=date(2026, 11, 1)), holds=9, code="expired")
    moved = take(site, wax, "0.7")
    assert [m.quantity for m in moved] == [Decimal("-0.5"), Decimal("-0.2")]
    assert take(site, wax, "0.7") == moved
    with pytest.raises(KeyReused):
        take(site, wax, "0.6")
    before = Movement.objects.count()
    with pytest.raises(NotEnoughStock, match=r"Wax: 1 L needed, 0\.8 L free .* 0\.2 L is short"):
        take(site, wax, 1, key="k2")
    assert Movement.objects.count() == before


def test_needs_of_a_source_replace_its_earlier_ones_only():
    site, resin = make_site(), make_material()

    def need(label):
        return NeedRow(resin.pk, label, Decimal(4), NOW, firm=False)

    stores.replace_requirements(site_id=site.pk, source="plan:1", rows=[need("a"), need("b")])
    stores.replace_requirements(site_id=site.pk, source="plan:2", rows=[need("c")])
    stores.replace_requirements(site_id=site.pk, source="plan:1", rows=[need("d")])
    assert sorted(Requirement.objects.values_list("label", flat=True)) == ["c", "d"]


def record(tool, half, casting, verdict="accept"):
    stores.open_tool_record(
        tool_id=tool.id,
        half=half,
        casting=casting,
        at=NOW + timedelta(days=1),
        verdict=verdict,
        facts={"peak_c": "61.0"},
    )


def test_a_matched_tool_is_in_service_once_both_halves_are_accepted():
    made = stores.make_tool(site_id=make_site().pk, code="T-1", name="Cover", kind="matched")
    stores.tool_is_casting(made.id)
    assert stores.tool(made.id).status == "casting"
    record(made, "A", "pour:1")
    record(made, "A", "pour:1")
    record(made, "B", "pour:2", verdict="reject")
    assert stores.tool(made.id).status == "casting"
    record(made, "B", "pour:3")
    stores.tool_is_casting(made.id)
    assert stores.tool_by_code(made.site_id, "T-1").status == "in_service"
    from shop.tools.models import ToolEvent

    assert ToolEvent.objects.filter(tool=made.id, kind="cast").count() == 3


def test_tools_refuse_a_second_code_an_unknown_kind_and_a_half_they_do_not_have():
    tool = make_tool(code="T-1")
    with pytest.raises(ShopError, match="code is 'T-1'"):
        stores.make_tool(site_id=tool.site_id, code="T-1", name="x", kind="single")
    with pytest.raises(ShopError, match="kind is 'triple'; it must be one of matched, single"):
        stores.make_tool(site_id=tool.site_id, code="T-2", name="x", kind="triple")
    with pytest.raises(ShopError, match="no such half"):
        record(stores.tool(tool.pk), "B", "pour:9")
