"""The same day with the network cut three times: nothing lost, nothing doubled, own times kept."""

from datetime import timedelta

import pytest

from planning.batches.models import BatchEntry, Weighing
from shop import stores
from tests.browser import steps
from tests.factories.floor import sign_off

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def drop_the_answer_once(page, path):
    """Let a request reach the shop's computer, but lose its answer on the way back, once."""
    lost = []

    def handle(route):
        if lost:
            route.continue_()
            return
        lost.append(route.fetch().status)
        route.abort("connectionfailed")

    page.route(path, handle)
    return lost


def test_three_cuts_lose_nothing_and_double_nothing(
    planned_batch, open_page, sign_in, clock, troubles
):
    batch = planned_batch
    resin, hardener = batch.lines.order_by("order")
    before = {line.pk: stores.container(line.container_id).balance for line in (resin, hardener)}
    page = open_page(390)
    sign_in(page, "tess")
    clock.move_to(batch.planned_start)
    sign_off(batch)
    page.goto(f"/batches/{batch.pk}/")
    page.wait_for_function("() => navigator.serviceWorker.ready.then(() => true)")
    page.reload()  # now the page itself is kept on the device
    troubles.cut_allowed = True

    # First cut: both weighings are made without a network, and the page is opened anew in between.
    page.locator("#ready").tap()
    page.context.set_offline(True)
    steps.weigh_line(page, resin)
    steps.wait_for_step(page, "Weigh hardener")
    assert "1 entry not sent yet" in page.locator("#network").inner_text()
    page.reload()
    steps.weigh_line(page, hardener)
    steps.wait_for_step(page, "first contact")
    assert "2 entries not sent yet" in page.locator("#network").inner_text()
    steps.shot(page, "cut-1-offline")
    assert not Weighing.objects.exists()
    clock.shift(timedelta(minutes=5))
    page.context.set_offline(False)
    steps.wait_until_sent(page)
    assert Weighing.objects.count() == 2
    for weighing in Weighing.objects.all():
        assert weighing.recorded_at - weighing.at > timedelta(minutes=4)

    # Second cut: the entry arrives, its answer does not; it is sent again under the same key.
    lost = drop_the_answer_once(page, "**/entries")
    page.locator("#contact").tap()
    steps.wait_for_step(page, "Second container")
    steps.wait_until_sent(page)
    assert lost == [201]
    assert BatchEntry.objects.filter(kind="contact").count() == 1

    steps.mix_for(page, batch, clock)
    page.locator("#second").tap()
    steps.wait_for_step(page, "Pour into")
    steps.mix_for(page, batch, clock)
    # Third cut: pouring is recorded and the phone is switched off before there is a network again.
    page.context.set_offline(True)
    page.locator("#poured").tap()
    steps.wait_for_step(page, "Finished")
    page.goto("about:blank")
    page.context.set_offline(False)
    page.goto(f"/batches/{batch.pk}/")
    steps.wait_until_sent(page)
    steps.wait_for_step(page, "Finished")

    batch.refresh_from_db()
    assert batch.status == "poured"
    kinds = list(BatchEntry.objects.order_by("at", "id").values_list("kind", flat=True))
    assert kinds == ["contact", "second_container", "poured"]
    for line in (resin, hardener):
        held = stores.container(line.container_id).balance
        assert before[line.pk] - held == line.target_kg
    unsent = "(batch) => Queue.of(batch).filter((row) => row.state !== 'sent')"
    assert page.evaluate(unsent, batch.pk) == []


def test_entries_are_sent_under_the_name_of_who_made_them(
    planned_batch, open_page, sign_in, clock, troubles
):
    batch = planned_batch
    resin = batch.lines.get(role="resin")
    page = open_page(390)
    sign_in(page, "tess")
    clock.move_to(batch.planned_start)
    page.goto(f"/batches/{batch.pk}/")
    troubles.cut_allowed = True
    page.locator("#ready").tap()
    page.context.set_offline(True)
    steps.weigh_line(page, resin)
    page.goto("about:blank")
    page.context.set_offline(False)
    page.context.clear_cookies()

    sign_in(page, "timo")
    page.goto(f"/batches/{batch.pk}/")
    page.get_by_text("1 entry of another person").wait_for()
    # The page that went away may have got its request out; under another's name it never is.
    assert not Weighing.objects.exclude(by__username="tess").exists()
    page.context.clear_cookies()

    sign_in(page, "tess")
    page.goto(f"/batches/{batch.pk}/")
    steps.wait_until_sent(page)
    assert Weighing.objects.get().by.username == "tess"
