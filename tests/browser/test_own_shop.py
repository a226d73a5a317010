"""A shop of one's own from an empty installation, by pages only, to the first sheet."""

import pytest

from planning.batches.models import Batch
from planning.schedule.models import WeekPlan
from shared.access.models import Site, User
from shop.materials.models import Material
from tests.browser import steps
from tests.browser.conftest import EARLY
from tests.browser.test_pages import findings

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
MOST_FORMS = 25
SHEET = "data sheet X of 2026-01, page 2"


class Desk:
    """A person at a desk who fills one form after the other; `sent` counts them."""

    def __init__(self, page) -> None:
        self.page, self.sent = page, 0

    def fill(self, form, values: dict[str, str]) -> None:
        for name, value in values.items():
            field = form.locator(f"[name={name}]").first
            if field.evaluate("field => field.tagName") == "SELECT":
                labels = field.locator("option").all_inner_texts()
                field.select_option(label=next(one for one in labels if one.startswith(value)))
            else:
                field.fill(value)

    def send(self, button: str, says: str, **values: str) -> None:
        form = self.page.locator("main form", has=self.page.get_by_role("button", name=button))
        self.fill(form.first, values)
        form.first.get_by_role("button", name=button).click()
        self.sent += 1
        self.page.get_by_text(says).first.wait_for()

    def enter(self, slug: str, says: str, **values: str) -> None:
        self.page.goto(f"/setup/{slug}/enter/")
        self.send("Save", says, **values)

    def look(self, name: str) -> None:
        assert steps.no_sideways_scroll(self.page), name
        assert findings(self.page) == [], name
        steps.shot(self.page, f"own-{name}")


def missing(page) -> list[str]:
    page.goto("/setup/")
    return page.locator(".setup-item .state").all_inner_texts()


@pytest.mark.parametrize("width", [1280, 390])
def test_the_pages_of_the_first_start_fit(width, transactional_db, clock, open_page, settings):
    settings.FOUND_IN_BROWSER = True
    desk = Desk(open_page(width))
    desk.page.goto("/")
    desk.look(f"start-{width}")
    desk.send(
        "Found the shop", "is founded", name="Own Tools", time_zone="Europe/Berlin",
        username="olga", password="a long own password", again="a long own password",
    )  # fmt: skip
    desk.look(f"setup-{width}")
    desk.page.goto("/files/")
    desk.look(f"files-{width}")
    for slug in ("people", "resin-systems", "materials"):
        desk.page.goto(f"/setup/{slug}/enter/")
        desk.look(f"{slug}-{width}")
        desk.page.goto(f"/setup/{slug}/")
        desk.look(f"{slug}-list-{width}")


def test_from_an_empty_installation_to_the_first_sheet(
    transactional_db, clock, open_page, settings
):
    settings.FOUND_IN_BROWSER = True
    page = open_page(1280)
    desk = Desk(page)
    page.goto("/")
    page.get_by_text("A shop of your own").wait_for()
    desk.send(
        "Found the shop", "is founded", name="Own Tools", time_zone="Europe/Berlin",
        username="olga", password="a long own password", again="a long own password",
    )  # fmt: skip
    assert len(missing(page)) == 7
    desk.enter("people", "Olga is entered", name="Olga", code="olga", user="olga")
    desk.enter("people", "Ivo is entered", name="Ivo", code="ivo")
    desk.enter("mixers", "is entered", name="Drill and bucket", code="D1", largest_kg="15",
               least_kg="0.5")  # fmt: skip
    desk.enter("scales", "is entered", name="Bench scale", code="S1", capacity_kg="30",
               readability_g="1")  # fmt: skip
    desk.enter("places", "is entered", name="Bench 1", code="B1", capacity="2")
    desk.enter("shelves", "is entered", name="Shelf 1", code="SH1")
    hazards = "H315, H317"
    for name, code, kind in (
        ("Resin X", "RX", "Resin"),
        ("Hardener X", "HX", "Hardener"),
        ("Paste wax", "WAX", "Release agent"),
    ):
        desk.enter(
            "materials", f"{name} is entered", name=name, code=code, kind=kind, source=SHEET,
            hazard_statements=hazards, shelf_life_months="12", use_per_m2="0.02",
        )  # fmt: skip
    desk.enter(
        "resin-systems", "System X is entered", name="System X", code="X", resin="Resin X",
        hardener="Hardener X", hardener_per_100="10", mixed_density_kg_l="1.7",
        pot_life_min="60", pot_life_mass_kg="0.5", reference_c="23", deepest_lift_mm="60",
        demould_min="1440", source=SHEET,
    )  # fmt: skip
    desk.enter(
        "release-recipes", "is entered", name="Two coats", code="W2", material="Paste wax",
        coats="2", hands_min_per_m2="10", dry_min="15", last_dry_min="30", source=SHEET,
    )  # fmt: skip
    for material, lot, quantity in (
        ("Resin X", "LX1", "25"),
        ("Hardener X", "LX2", "5"),
        ("Paste wax", "LX3", "1"),
    ):
        page.goto("/stock/goods-in/")
        desk.send("Take in", "1 container taken in", material=material, lot_code=lot,
                  quantity=quantity, expires_on="2027-10-01", location="Shelf 1")  # fmt: skip
    assert missing(page) == ["▲\nOrder"]
    page.goto("/orders/new/")
    form = page.locator("main form").first
    desk.fill(form, {"tool_code": "GRIP-1", "tool_name": "Grip", "route": "Single-sided",
                     "due_on": "2026-12-04", "a-depth_mm": "30", "a-length_mm": "200",
                     "a-width_mm": "100", "a-release_recipe_id": "Two coats"})  # fmt: skip
    form.get_by_role("button").last.click()
    desk.sent += 1
    page.get_by_text("T26-0001 is taken in").first.wait_for()
    assert missing(page) == []
    page.get_by_text("Everything a plan needs is there").wait_for()
    page.goto("/week/2026-W49/")
    page.fill("[name=seconds]", "1")
    page.get_by_role("button", name="Ask for a plan").click()
    desk.sent += 1
    page.get_by_role("button", name="Confirm this plan").click()
    desk.sent += 1
    page.wait_for_load_state("networkidle")
    batch = Batch.objects.get()
    page.goto(f"/sheets/{batch.planned_start.date()}/")
    page.get_by_text(batch.number).first.wait_for()
    assert desk.sent <= MOST_FORMS
    assert page.get_by_text("Resin X").count() > 0
    assert WeekPlan.objects.get().state == "confirmed"
    assert set(Material.objects.values_list("code", flat=True)) == {"RX", "HX", "WAX"}
    assert list(Site.objects.values_list("name", flat=True)) == ["Own Tools"]
    assert list(User.objects.values_list("username", flat=True)) == ["olga"]
    assert batch.planned_start >= EARLY
