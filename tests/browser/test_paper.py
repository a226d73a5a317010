"""The sheet has one paper: the page's print button hands out the PDF, and so does the browser."""

import io

import pytest
from pypdf import PdfReader

from planning.batches.models import SheetPrint

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def test_printing_the_page_is_printing_the_pdf(planned_batch, open_page, sign_in):
    day = planned_batch.planned_start.date()
    page = open_page(1280)
    sign_in(page, "petra")
    page.goto(f"/sheets/{day:%Y-%m-%d}/")
    (told,) = PdfReader(io.BytesIO(page.pdf(prefer_css_page_size=True))).pages
    words = " ".join(told.extract_text().split())
    assert "Its paper is a PDF" in words
    assert f"/sheets/{day:%Y-%m-%d}.pdf" in words
    assert "Target" not in words
    assert SheetPrint.objects.count() == 0
    with page.expect_popup() as opened:
        page.get_by_role("button", name="Print").click()
    opened.value.wait_for_url("**.pdf")
    assert SheetPrint.objects.count() == 1
    answer = page.request.get(f"/sheets/{day:%Y-%m-%d}.pdf")
    pages = [sheet.extract_text() for sheet in PdfReader(io.BytesIO(answer.body())).pages]
    assert f"Batch {planned_batch.number}, page 1 of 1" in pages[-1]
