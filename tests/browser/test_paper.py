"""The sheet as the browser prints it: a batch whole, or its pour and signatures together."""

import io
import unicodedata

import pytest
from pypdf import PdfReader

from tests.browser import steps

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def printed(page, day):
    page.goto(f"/sheets/{day:%Y-%m-%d}/")
    return [
        unicodedata.normalize("NFKC", sheet.extract_text())
        for sheet in PdfReader(io.BytesIO(page.pdf(prefer_css_page_size=True))).pages
    ]


@pytest.mark.parametrize(("cans", "on_pages"), [(1, 1), (9, 2)])
def test_what_is_poured_is_printed_with_its_batch_and_its_signatures(
    cans, on_pages, planned_batch, open_page, sign_in
):
    first = planned_batch.lines.get(role="resin")
    for n in range(1, cans):
        first.pk, first.order = None, 10 + n
        first.save()
    page = open_page(1280)
    sign_in(page, "tess")
    pages = printed(page, planned_batch.planned_start.date())
    assert steps.no_sideways_scroll(page)
    own = [text for text in pages if planned_batch.number in text]
    assert len(own) == on_pages
    (last,) = [text for text in pages if "Mixed and poured by" in text]
    assert last is own[-1]
    for words in ("Pour, kg", "Left in the pot", "Weighed by", "pot dead at", "safety data sheet"):
        assert words in last
    assert "Really: first contact at" in own[0]
    assert "good to" in own[0]
