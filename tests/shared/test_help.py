"""Help: every line leads somewhere, every term is found."""

import re

import pytest
from django.utils.html import escape

from shared.help.guides import GUIDES
from shared.help.terms import TERMS, found

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("guide", GUIDES, ids=lambda guide: guide.slug)
def test_each_line_of_a_guide_leads_to_a_page_that_opens(browser_of, guide):
    client = browser_of("administrator")
    page = client.get(f"/help/{guide.slug}/").content.decode()
    main = page[page.index("<main") : page.index("</main>")]
    links = re.findall(r'<li>[^<]*<a href="([^"]+)">', main)
    assert len(links) == sum(bool(line.page) for line in guide.lines)
    for link in links:
        assert client.get(link, follow=True).status_code == 200, link
    for words in guide.cautions:
        assert escape(words) in main


def test_a_guide_that_is_not_there(browser_of):
    assert browser_of("technician").get("/help/nothing/").status_code == 404


def test_strangers_sign_in_first(client):
    assert client.get("/help/").status_code == 302


def test_terms_stand_in_order_and_once():
    names = [name for name, _ in TERMS]
    assert len(set(names)) == len(names) > 40
    assert [n.casefold()[:3] for n in names] == sorted(n.casefold()[:3] for n in names)


def test_terms_are_found_by_name_first_then_by_meaning(browser_of):
    assert [name for name, _ in found(" POT ")][:2] == ["Pot", "Pot life"]
    assert "First contact" in [name for name, _ in found("pot life")]
    page = browser_of("technician").get("/help/?q=dew").content.decode()
    assert "Dew point" in page
    assert "Shelf life" not in page
    assert "No term holds" in browser_of("technician").get("/help/?q=zzz").content.decode()
