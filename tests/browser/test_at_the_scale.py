"""At the scale: what reads good is good, the right can, two people at one pot, the pot's alarm."""

import re
from datetime import timedelta
from decimal import Decimal

import pytest

from planning.batches.models import BatchEntry, Weighing
from tests.browser import steps
from tests.factories.floor import sign_off

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

SPY = """
window.played = [];
const Real = window.AudioContext;
window.AudioContext = class extends Real {
  createOscillator() {
    const tone = super.createOscillator();
    const start = tone.start.bind(tone);
    tone.start = (at) => { window.played.push(this.state); start(at); };
    return tone;
  }
};
"""


@pytest.fixture
def at_the_pot(planned_batch, open_page, sign_in, clock):
    """Open the batch's page on a phone, as somebody, ready to weigh."""

    def make(who="tess"):
        page = open_page(390)
        sign_in(page, who)
        clock.move_to(planned_batch.planned_start)
        sign_off(planned_batch)
        page.goto(f"/batches/{planned_batch.pk}/")
        page.locator("#ready").tap()
        steps.wait_for_step(page, "Weigh resin")
        return page

    return make


def figure(page):
    return Decimal(page.locator(".target__figure").inner_text())


def test_hardener_follows_the_resin_really_weighed_and_rows_that_read_good_make_a_good_pot(
    planned_batch, at_the_pot
):
    resin, hardener = planned_batch.lines.order_by("order")
    page = at_the_pot()
    steps.weigh_line(page, resin, resin.high_kg.normalize())
    steps.wait_for_step(page, "Weigh hardener")
    per_100 = Decimal(
        page.evaluate(
            "JSON.parse(document.getElementById('batch-state').textContent).hardener_per_100"
        )
    )
    division = planned_batch.scale.readability_g / 1000
    assert figure(page) != hardener.target_kg
    assert abs(figure(page) - resin.high_kg * per_100 / 100) <= division / 2
    assert (
        f"the sheet says {hardener.target_kg.normalize()}" in page.locator(".target").inner_text()
    )
    low, high = re.search(
        r"within ([\d.]+) to ([\d.]+) kg", page.locator(".target").inner_text()
    ).groups()
    steps.scan(page, hardener.container.code)
    assert "Tare the scale to 0 before this can" in page.locator("#step").inner_text()
    steps.type_weight(page, low)
    assert "Good" in page.locator("#judge").inner_text()
    page.locator("#take").tap()
    steps.wait_for_step(page, "first contact")
    steps.wait_until_sent(page)
    planned_batch.refresh_from_db()
    assert planned_batch.status == "weighed"
    assert Decimal(low) < figure(page)
    assert Decimal(low) < Decimal(high)


def test_only_a_can_of_the_rows_material_in_date_is_offered(planned_batch, at_the_pot):
    resin, hardener = planned_batch.lines.order_by("order")
    lot, old = resin.container.lot, resin.container
    lot.pk, lot.code = None, "LONG-AGO"
    lot.expires_on = (planned_batch.planned_start - timedelta(days=1)).date()
    lot.save()
    old.pk, old.code, old.lot, old.reserved = None, "OLD-CAN", lot, 0
    old.save()
    resin.refresh_from_db()
    page = at_the_pot()
    said, offer = page.locator("#scan-judge"), page.locator("#use-other")
    for code, words in (
        ("NO-SUCH-CAN", "no can NO-SUCH-CAN of"),
        (hardener.container.code, f"holds {hardener.container.lot.material.name}, the hardener"),
        (old.code, "may not be used after"),
    ):
        steps.scan(page, code)
        said.filter(has_text=words).wait_for()  # the shop's computer reads a code not known here
        assert words in said.inner_text()
        assert f"Fetch {resin.container.code}" in said.inner_text()
        assert not offer.is_visible()
    steps.scan(page, resin.container.code.lower())
    page.locator("#reading").wait_for()


def test_the_same_row_weighed_by_two_people_is_refused_to_the_second(
    planned_batch, at_the_pot, troubles
):
    resin, _ = planned_batch.lines.order_by("order")
    tess, timo = at_the_pot("tess"), at_the_pot("timo")
    steps.scan(timo, resin.container.code)
    steps.type_weight(timo, "0.1")
    steps.weigh_line(tess, resin)
    steps.wait_until_sent(tess)
    timo.locator("#reading").fill("0.02")
    timo.locator("#take").tap()
    said = timo.locator("#network")
    said.get_by_text("Tess has recorded").wait_for()
    assert f"{resin.target_kg.normalize():f} kg for this row" in said.inner_text()
    assert Weighing.objects.count() == 1
    troubles[:] = [one for one in troubles if "409" not in one]
    timo.get_by_role("button", name="Both are in the pot").tap()
    steps.wait_until_sent(timo)
    assert [w.by.username for w in Weighing.objects.order_by("pk")] == ["tess", "timo"]
    timo.locator("#log", has_text="Tess").wait_for()


def test_what_another_person_recorded_shows_without_a_reload(planned_batch, at_the_pot):
    resin, _ = planned_batch.lines.order_by("order")
    tess, timo = at_the_pot("tess"), at_the_pot("timo")
    steps.weigh_line(tess, resin)
    steps.wait_until_sent(tess)
    timo.evaluate("document.dispatchEvent(new Event('visibilitychange'))")
    steps.wait_for_step(timo, "Weigh hardener")


def test_a_page_opened_once_opens_again_without_a_network(at_the_pot, troubles):
    page = at_the_pot()
    page.wait_for_function("() => document.documentElement.dataset.kept === 'yes'")
    troubles.cut_allowed = True
    page.context.set_offline(True)
    page.reload()
    steps.wait_for_step(page, "Weigh resin")  # and "Ready to weigh" is not asked again
    page.context.set_offline(False)


def test_the_pots_alarm_is_asked_to_play_and_the_page_says_while_it_cannot(
    planned_batch, at_the_pot, clock
):
    page = at_the_pot()
    page.add_init_script(SPY)
    page.reload()
    for line in planned_batch.lines.order_by("order"):
        steps.weigh_line(page, line)
    steps.wait_for_step(page, "first contact")
    steps.wait_until_sent(page)
    clock.move_to(planned_batch.planned_contact)
    page.locator("#contact").tap()
    steps.wait_for_step(page, "Second container")
    assert not page.locator("#sound-words").is_visible()
    page.locator("#sound", has_text="Try the sound").tap()
    page.wait_for_function("() => window.played.length === 1")
    assert page.evaluate("window.played") == ["running"]

    steps.wait_until_sent(page)
    page.reload()  # a new page has had no tap yet: the browser keeps it silent
    page.locator("#sound-words", has_text="only after a tap").wait_for()
    page.locator("#sound", has_text="Turn the sound on").wait_for()
    page.locator("#step h2").tap()
    page.locator("#sound", has_text="Try the sound").wait_for()
    assert not page.locator("#sound-words").is_visible()
    planned_batch.refresh_from_db()
    near_the_end = timedelta(minutes=planned_batch.pot_life_min - 2, seconds=5)
    clock.move_to(planned_batch.contact_at + near_the_end)
    page.locator("#second").tap()
    page.wait_for_function("() => window.played.length >= 4", timeout=10000)
    assert set(page.evaluate("window.played")) == {"running"}


def test_a_damp_surface_is_told_before_the_pour_and_not_only_in_the_log(
    planned_batch, open_page, sign_in, clock
):
    page = open_page(390)
    sign_in(page, "tess")
    clock.move_to(planned_batch.planned_start)
    page.goto(f"/batches/{planned_batch.pk}/")
    for field, value in (("air_c", "22"), ("surface_c", "16.5"), ("humidity_percent", "300")):
        page.locator(f"#{field}").fill(value)
    page.locator("#ready").tap()
    assert (
        "Humidity is 300; it must be a number from 1 to 100 %."
        in page.locator("#step").inner_text()
    )
    page.locator("#humidity_percent").fill("65")
    page.locator("#ready").tap()
    for line in planned_batch.lines.order_by("order"):
        steps.weigh_line(page, line)
    steps.wait_for_step(page, "first contact")
    page.locator(".gate", has_text="above the dew point; 3 K above it are wanted").wait_for()
    assert "Warm the pattern or dry the air" in page.locator("#step").inner_text()


def test_less_poured_than_planned_asks_at_once_whether_the_lift_ends_lower(
    planned_batch, at_the_pot, clock
):
    page = at_the_pot()
    for line in planned_batch.lines.order_by("order"):
        steps.weigh_line(page, line)
    steps.mix(page, planned_batch, clock)
    asked = Decimal(page.locator(".target__figure").inner_text())
    page.get_by_text("Another weight went in").tap()
    page.locator("#reading").fill(str(asked - Decimal("0.2")))
    page.locator("#take").tap()
    page.locator("#loss-kg").wait_for()
    assert Decimal(page.locator("#loss-kg").input_value()) == Decimal("0.2")
    page.wait_for_function(
        """() => { const box = document.getElementById("loss-kg").getBoundingClientRect();
                   return box.top >= 0 && box.bottom <= innerHeight; }"""
    )
    page.locator("#loss-take").tap()
    page.locator("#new-plan-words", has_text="0.2 kg missing").wait_for()
    assert set(BatchEntry.objects.values_list("kind", flat=True)) >= {"poured", "short"}
