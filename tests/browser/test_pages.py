"""Pages at both widths: no error, no sideways scroll, no serious finding, keyboard reach."""

from datetime import timedelta

import pytest
from axe_playwright_python.sync_playwright import Axe

from tests.browser import steps
from tests.factories.floor import sign_off

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
SERIOUS = ("serious", "critical")


def findings(page):
    """Return what axe finds serious, with where."""
    found = Axe().run(page, options={"runOnly": RULES}).response["violations"]
    return [
        f"{row['id']}: {row['nodes'][0]['html'][:120]}"
        for row in found
        if row["impact"] in SERIOUS
    ]


def cut_tables(page):
    """Return the wide tables that do not show whole; on a phone their rows stand as blocks."""
    return page.evaluate(
        """() => [...document.querySelectorAll("table.stacks")]
            .map((table) => table.parentElement)
            .filter((frame) => frame.scrollWidth > frame.clientWidth + 1)
            .map((frame) => frame.getAttribute("aria-label"))"""
    )


def addresses(batch):
    pour = batch.portions.get().lift.pour_id
    return {
        "today": "/today/?who=all",
        "rest of the week": "/today/?who=all&rest=1",
        "week": "/week/2026-W49/",
        "one day in large": "/week/2026-W49/?day=2026-11-30",
        "batch": f"/batches/{batch.pk}/",
        "pour": f"/pours/{pour}/",
        "sheet": "/sheets/2026-11-30/",
        "orders": "/orders/",
        "new order": "/orders/new/",
        "orders from a file": "/orders/file/",
        "route": "/routes/single/",
        "old and new plan": f"/plans/{batch.plan_id}/compare/",
        "reminders": "/reminders/",
    }


@pytest.mark.parametrize("width", [390, 1280])
def test_pages_have_no_error_no_sideways_scroll_and_nothing_serious(
    planned_batch, open_page, sign_in, width
):
    page = open_page(width)
    sign_in(page, "petra")
    for name, address in addresses(planned_batch).items():
        page.goto(address)
        page.wait_for_load_state("networkidle")
        assert steps.no_sideways_scroll(page), name
        assert findings(page) == [], name
        assert cut_tables(page) == [], name
        steps.shot(page, f"page-{name.replace(' ', '-')}-{width}")


def test_a_row_on_a_phone_names_each_of_its_figures(planned_batch, open_page, sign_in):
    page = open_page(390)
    sign_in(page, "petra")
    page.goto("/orders/")
    due = page.locator("table.stacks tbody td").nth(1)
    assert due.get_attribute("data-is") == "Due"
    shown = due.evaluate("(cell) => getComputedStyle(cell, '::before').content")
    assert shown == '"Due"'
    page.locator("table.stacks").evaluate("(table) => table.classList.remove('stacks')")
    page.locator("table").evaluate("(table) => table.style.minWidth = '900px'")
    page.locator("table").evaluate("(table) => table.classList.add('stacks')")
    assert cut_tables(page) == ["Orders"]


def test_axe_sees_a_spoiled_page(planned_batch, open_page, sign_in):
    page = open_page(1280)
    sign_in(page, "petra")
    page.goto("/orders/new/")
    page.evaluate("() => document.querySelectorAll('main label').forEach((one) => one.remove())")
    assert any(line.startswith(("label", "select-name")) for line in findings(page))


def test_a_planner_plans_and_confirms_a_week_by_keyboard(shop, open_page, sign_in):
    page = open_page(1280)
    sign_in(page, "petra")
    page.goto("/orders/new/")
    fill = {
        "tool_code": "CUP-7",
        "tool_name": "Cup",
        "due_on": "2026-12-03",
        "a-depth_mm": "30",
        "a-length_mm": "200",
        "a-width_mm": "100",
    }
    for name, value in fill.items():
        page.locator(f"[name={name}]").fill(value)
    page.locator("[name=route]").select_option(label="Single-sided tool")
    page.get_by_role("button", name="Take the order in").press("Enter")
    page.get_by_text("is taken in").wait_for()

    page.goto("/week/2026-W49/")
    page.locator("#seconds").fill("1")
    page.locator("#seconds").press("Enter")
    confirm = page.get_by_role("button", name="Confirm this plan")
    confirm.wait_for(timeout=20000)
    steps.shot(page, "week-ready-1280")
    confirm.press("Enter")
    page.get_by_text("is confirmed").wait_for()
    assert page.locator("svg .bar--batch").count() >= 2
    assert page.get_by_role("region", name="Batches of the plan").get_by_role("row").count() == 2


def test_bad_input_is_named_and_changes_nothing(shop, open_page, sign_in, troubles):
    from planning.pours.models import ToolOrder

    page = open_page(390)
    sign_in(page, "petra")
    page.goto("/orders/new/")
    page.locator("[name=tool_code]").fill("CUP-7")
    page.locator("[name=due_on]").fill("2026-12-03")
    page.locator("[name=route]").select_option(label="Single-sided tool")
    page.locator("[name=a-depth_mm]").fill("-30")
    page.locator("[name=a-length_mm]").fill("200")
    page.locator("[name=a-width_mm]").fill("100")
    page.get_by_role("button", name="Take the order in").tap()
    page.locator(".errorlist").first.wait_for()
    said = page.locator(".errorlist, .note--stop").all_inner_texts()
    assert any("-30" in words and "mm" in words for words in said), said
    steps.shot(page, "bad-order-390")
    assert not ToolOrder.objects.exists()
    assert all("422" in trouble for trouble in troubles)
    troubles.clear()


def test_a_pot_off_its_ratio_is_put_right(planned_batch, open_page, sign_in, clock):
    batch = planned_batch
    resin, hardener = batch.lines.order_by("order")
    page = open_page(390)
    sign_in(page, "tess")
    clock.move_to(batch.planned_start)
    page.goto(f"/batches/{batch.pk}/")
    page.locator("#ready").tap()
    steps.weigh_line(page, resin)
    steps.weigh_line(page, hardener, (hardener.target_kg * 2).normalize())
    page.get_by_text("Tap once more if it is really so").wait_for()
    page.locator("#take").tap()
    steps.wait_for_step(page, "Put the ratio right")
    steps.shot(page, "overpour-390")
    asked = page.locator(".target__figure").inner_text()
    # Twice the hardener wants twice the resin: as much again as was weighed, to half a gram.
    assert abs(float(asked) - float(resin.target_kg)) <= 0.002
    steps.type_weight(page, asked)
    page.locator("#take").tap()
    steps.wait_for_step(page, "first contact")
    steps.wait_until_sent(page)
    batch.refresh_from_db()
    assert batch.status == "weighed"


def test_a_pot_that_dies_before_the_second_container_is_not_to_be_poured(
    planned_batch, open_page, sign_in, clock
):
    batch = planned_batch
    sign_off(batch)
    page = open_page(390)
    sign_in(page, "tess")
    clock.move_to(batch.planned_start)
    page.goto(f"/batches/{batch.pk}/")
    page.locator("#ready").tap()
    for line in batch.lines.order_by("order"):
        steps.weigh_line(page, line)
    page.locator("#contact").tap()
    page.locator("#second").wait_for()
    steps.wait_until_sent(page)
    clock.shift(timedelta(minutes=batch.pot_life_min + 1))
    page.reload()
    page.locator("#step").get_by_text("Do not pour: scrap the pot below").wait_for()
    assert page.locator("#second").is_visible()


def test_the_pot_s_clock_warns_and_then_forbids(planned_batch, open_page, sign_in, clock):
    batch = planned_batch
    sign_off(batch)
    resin, hardener = batch.lines.order_by("order")
    page = open_page(390)
    sign_in(page, "tess")
    clock.move_to(batch.planned_start)
    page.goto(f"/batches/{batch.pk}/")
    page.locator("#ready").tap()
    steps.weigh_line(page, resin)
    steps.weigh_line(page, hardener)
    page.locator("#contact").tap()
    page.locator("#second").tap()
    page.locator("#poured").wait_for()
    steps.wait_until_sent(page)
    clock.shift(timedelta(minutes=batch.pot_life_min - 4))
    page.reload()
    page.get_by_text("Pour now.").wait_for()
    steps.shot(page, "pot-soon-390")
    clock.shift(timedelta(minutes=10))
    page.reload()
    page.get_by_text("Pot life is over. Do not pour this pot.").wait_for()
    page.locator("#step").get_by_text("Do not pour: scrap the pot below").wait_for()
    steps.shot(page, "pot-dead-390")


def test_a_weight_is_taken_from_the_scale(planned_batch, open_page, sign_in, clock):
    from rest_framework.test import APIClient

    from shared.access.models import User

    batch = planned_batch
    resin = batch.lines.get(role="resin")
    page = open_page(390)
    sign_in(page, "tess")
    clock.move_to(batch.planned_start)
    page.goto(f"/batches/{batch.pk}/")
    page.locator("#ready").tap()
    steps.wait_for_step(page, "Weigh resin")
    steps.scan(page, resin.container.code)
    page.locator("#from-scale").tap()
    page.get_by_text("The scale is silent").wait_for()
    scale = APIClient()
    scale.force_authenticate(User.objects.get(username="tess"))
    body = {"site": "DEMO", "scale": batch.scale.code, "kg": str(resin.target_kg)}
    assert scale.post("/api/v1/scale-readings", body, format="json").status_code == 200
    page.get_by_text("The scale stands still").wait_for()
    assert "Good: on target" in page.locator("#judge").inner_text()
    steps.shot(page, "scale-390")
    page.locator("#take").tap()
    steps.wait_until_sent(page)
    assert resin.weighings.get().weighed_kg == resin.target_kg


def test_a_mistake_is_put_right_by_a_further_entry(planned_batch, open_page, sign_in, clock):
    batch = planned_batch
    page = open_page(390)
    sign_in(page, "tess")
    clock.move_to(batch.planned_start)
    page.goto(f"/batches/{batch.pk}/")
    page.locator("#air_c").fill("32")
    page.locator("#ready").tap()
    steps.wait_until_sent(page)
    page.get_by_role("button", name="Amend").first.tap()
    page.locator("#amend-words").fill("22, a slip of the finger")
    page.locator("#amend-take").tap()
    page.locator("#log").get_by_text("22, a slip of the finger").first.wait_for()
    steps.wait_until_sent(page)
    first, second = batch.entries.order_by("id")
    assert (first.kind, second.kind) == ("conditions", "amendment")
    assert second.amends == first
    assert float(first.facts["air_c"]) == 32


def test_the_form_of_an_order_asks_only_for_what_its_choices_need(shop, open_page, sign_in):
    page = open_page(390)
    sign_in(page, "petra")
    page.goto("/orders/new/")
    other = page.locator("[data-sizes=b]")
    length, stated = page.locator("[name=a-length_mm]"), page.locator("[name=a-stated_l]")
    page.locator("[name=route]").select_option(label="Single-sided tool")
    assert not other.is_visible()
    assert (length.is_visible(), stated.is_visible()) == (True, False)
    page.locator("[name=a-geometry]").select_option("volume")
    assert (length.is_visible(), stated.is_visible()) == (False, True)
    page.locator("[name=route]").select_option(index=0)
    assert other.is_visible()
    assert page.locator("[name=b-depth_mm]").is_visible()
