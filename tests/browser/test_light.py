"""A phone with an empty cache gets the batch page with few requests and few bytes."""

import pytest

from tests.browser import steps

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
MOST_REQUESTS, MOST_KB = 12, 60


def test_the_batch_page_comes_cold_in_few_requests_and_few_bytes(
    planned_batch, open_page, sign_in, clock
):
    page = open_page(390)
    sign_in(page, "tess")
    clock.move_to(planned_batch.planned_start)
    cold = page.context.new_page()
    asked, bytes_in = {}, {}
    watch = page.context.new_cdp_session(cold)
    watch.send("Network.enable")
    watch.send("Network.clearBrowserCache")
    watch.on("Network.requestWillBeSent", lambda e: asked.update({e["requestId"]: e["request"]}))
    watch.on(
        "Network.loadingFinished",
        lambda e: bytes_in.update({e["requestId"]: e["encodedDataLength"]}),
    )
    cold.goto(f"/batches/{planned_batch.pk}/")
    steps.wait_for_step(cold, "Make ready")
    cold.wait_for_function("() => document.documentElement.dataset.kept === 'yes'")
    cold.wait_for_timeout(300)
    told = [(asked[key]["url"], size) for key, size in bytes_in.items() if key in asked and size]
    kb = sum(size for _, size in told) / 1024
    assert 5 <= len(told) <= MOST_REQUESTS, told
    assert kb <= MOST_KB, (kb, told)
