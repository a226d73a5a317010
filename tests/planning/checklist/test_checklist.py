"""What a first plan still lacks, told until it is there."""

import pytest
from django.test import Client

from planning.checklist.queries import checklist
from planning.founding import actions
from shared import clock
from shop.registers import enter
from shop.sites.models import Mixer, Person, Place, Scale, Shift

pytestmark = pytest.mark.django_db


@pytest.fixture
def own(db):
    site, person = actions.found(
        name="Own Tools", time_zone="UTC", username="olga", password="a long own password"
    )
    page = Client()
    page.force_login(person)
    return site, page


def missing(site):
    return {item.title: item.missing for item in checklist(site, clock.now()) if item.missing}


def test_an_empty_shop_lacks_everything_but_its_routes(own):
    site, _ = own
    assert set(missing(site)) == {
        "People and hours", "Mixer", "Scale", "Bench", "Resin system", "Release recipe", "Order",
    }  # fmt: skip


def test_people_without_hours_or_skills_are_told(own):
    site, _page = own
    ivo = enter(Person, site=site, code="ivo", name="Ivo", skills=["coating"])
    assert "People and hours" in missing(site)
    for weekday in range(1, 8):
        enter(Shift, person=ivo, weekday=weekday, starts="07:00", ends="15:00")
    told = missing(site)
    assert "People and hours" not in told
    assert any("Nobody has the skill demoulding" in words for words in told["Skills"])
    ivo.skills = ["coating", "mixing", "demoulding", "fitting"]
    ivo.save()
    assert "Skills" not in missing(site)


def test_what_is_entered_leaves_the_list(own):
    site, page = own
    enter(Mixer, site=site, code="D", name="Drill", largest_kg="10")
    enter(Scale, site=site, code="S", name="Scale", capacity_kg="30", readability_g="1")
    enter(Place, site=site, code="O", name="Oven", kind="oven")
    told = missing(site)
    assert not {"Mixer", "Scale"} & set(told)
    assert "Bench" in told
    text = page.get("/setup/").content.decode()
    assert "No bench or floor space is entered." in text
    assert "/setup/places/enter/" in text


def test_the_example_shop_lacks_only_an_order(shop_site):
    assert set(missing(shop_site)) == {"Order"}
