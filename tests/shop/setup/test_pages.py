"""The registers a shop is set up with: list, form, out of use, rights, and what is refused."""

from datetime import time

import pytest
from django.test import Client

from shop.materials.models import SYSTEM_VALUES, Material, ResinSystem
from shop.registers import enter
from shop.setup.registers import REGISTERS
from shop.sites.models import ClosedDay, Mixer, Person, Place
from tests.callers import make_user

pytestmark = pytest.mark.django_db


@pytest.fixture
def browser_of(site):
    def make(role):
        page = Client()
        page.force_login(make_user(role, site))
        return page

    return make


@pytest.fixture
def desk(browser_of):
    return browser_of("administrator")


@pytest.fixture
def two_materials(db):
    resin = enter(Material, code="RX", name="Resin X", kind="resin")
    return resin, enter(Material, code="HX", name="Hardener X", kind="hardener")


def system_form(resin, hardener, **changes):
    return {
        "name": "System X", "code": "X", "resin": resin.pk, "hardener": hardener.pk,
        "hardener_per_100": "10", "ratio_tolerance_percent": "2", "mixed_density_kg_l": "1.7",
        "pot_life_min": "60", "pot_life_mass_kg": "0.5", "reference_c": "23",
        "deepest_lift_mm": "60", "demould_min": "1440", "least_batch_kg": "0",
        "residue_fixed_kg": "0.03", "residue_share": "0.01", "source": "data sheet, page 2",
        **changes,
    }  # fmt: skip


def form_of(register, site):
    """Return where a row is entered, or the one row that is there is changed."""
    return f"/setup/{register.slug}/{site.pk if register.only_own else 'enter'}/"


@pytest.mark.parametrize("register", REGISTERS, ids=lambda one: one.slug)
def test_every_register_lists_and_opens_its_form(desk, browser_of, site, register):
    assert register.title in desk.get(f"/setup/{register.slug}/").content.decode()
    address = form_of(register, site)
    form = desk.get(address)
    assert form.status_code == 200
    technician = browser_of("technician")
    assert technician.get(f"/setup/{register.slug}/").status_code == 200
    # Whoever works there may say that a day is closed or warm, and keep tools' checklists.
    expected = 200 if register.noun in ("availability", "tools") else 403
    assert technician.get(address).status_code == expected
    assert technician.post(address, {}).status_code == expected


@pytest.mark.parametrize("register", REGISTERS, ids=lambda one: one.slug)
def test_an_empty_form_saves_nothing_and_marks_its_fields(desk, site, register):
    before = list(register.model.objects.values())
    page = desk.post(form_of(register, site), {})
    assert page.status_code == 200
    assert "This field is required." in page.content.decode()
    assert list(register.model.objects.values()) == before
    assert register.only_own or not before


def test_a_person_with_skills_and_hours(desk, site):
    form = {
        "name": "Ivo", "code": "ivo", "skills": ["mixing"], "more_skills": "Laying up, cnc",
        "hours_1": "12:30-15.30, 7:00 - 12:00",
    }  # fmt: skip
    desk.post("/setup/people/enter/", form)
    ivo = Person.objects.get(site=site)
    assert ivo.skills == ["cnc", "laying up", "mixing"]
    assert [(s.weekday, s.starts, s.ends) for s in ivo.shifts.all()] == [
        (1, time(7), time(12)), (1, time(12, 30), time(15, 30)),
    ]  # fmt: skip
    kept = ivo.shifts.get(starts=time(7))
    shown = desk.get(f"/setup/people/{ivo.pk}/").content.decode()
    assert 'value="07:00-12:00, 12:30-15:30"' in shown
    desk.post(
        f"/setup/people/{ivo.pk}/", {**form, "hours_1": "07:00-12:00", "hours_6": "8:00-9:00"}
    )
    assert [(s.weekday, s.starts) for s in ivo.shifts.all()] == [(1, time(7)), (6, time(8))]
    assert ivo.shifts.get(weekday=1).pk == kept.pk
    ivo.refresh_from_db()
    assert ivo.version == 2


@pytest.mark.parametrize(
    ("hours", "words"),
    [
        ("7-12", "write hours such as"),
        ("25:00-26:00", "hours run from 00:00 to 23:59"),
        ("22:00-06:00", "A shift over midnight is entered as two"),
        ("07:00-12:00, 11:00-15:00", "11:00 begins before 12:00 has ended"),
        ("all day", "write hours such as"),
    ],
)
def test_hours_that_cannot_be(desk, hours, words):
    form = {"name": "Ivo", "code": "ivo", "hours_2": hours}
    page = desk.post("/setup/people/enter/", form).content.decode()
    assert words in page
    assert "Tuesday" in page
    assert not Person.objects.exists()


@pytest.mark.parametrize(
    ("slug", "form", "words"),
    [
        ("mixers", {"name": "M", "code": "M", "largest_kg": "1", "least_kg": "2"}, "above"),
        ("mixers", {"name": "M", "code": "M", "largest_kg": "ten", "least_kg": "0"}, "a number"),
        ("mixers", {"name": "M", "code": "m ü", "largest_kg": "9", "least_kg": "0"}, "letters"),
        ("scales", {"name": "S", "code": "S", "capacity_kg": "0", "readability_g": "1"}, "above"),
        ("places", {"name": "B", "code": "B", "kind": "bench", "capacity": "0"}, "greater than"),
        ("places", {"name": "B", "code": "B", "kind": "roof", "capacity": "1"}, "not one of"),
        ("shelves", {"name": "S", "code": "S", "lowest_c": "25", "highest_c": "5"}, "not be"),
        ("closed-days", {"day": "31.12.2026"}, "valid date"),
        ("temperatures", {"day": "2026-12-01", "shop_c": "68"}, "0 to 45"),
        ("materials", {"name": "R", "code": "R", "kind": "resin", "unit": "kg", "warm_hours": "0",
                       "hazard_statements": "irritant"}, "no hazard code"),
        ("materials", {"name": "R", "code": "R", "kind": "resin", "unit": "kg", "warm_hours": "0",
                       "density_kg_l": "-1"}, "above 0 kg/L"),
    ],
)  # fmt: skip
def test_wrong_input_is_told_and_nothing_is_saved(desk, slug, form, words):
    [register] = [one for one in REGISTERS if one.slug == slug]
    page = desk.post(f"/setup/{slug}/enter/", form)
    assert page.status_code == 200
    assert words in page.content.decode()
    assert not register.model.objects.exists()


def test_a_code_is_taken_once(desk, site):
    form = {"name": "M", "code": "M", "largest_kg": "9", "least_kg": "0"}
    desk.post("/setup/mixers/enter/", form)
    assert (
        "There is one of this already" in desk.post("/setup/mixers/enter/", form).content.decode()
    )
    assert Mixer.objects.count() == 1


def test_a_resin_system_names_the_source_of_each_value(desk, two_materials):
    resin, hardener = two_materials
    desk.post("/setup/resin-systems/enter/", system_form(resin, hardener))
    system = ResinSystem.objects.get()
    assert set(system.sources.values()) == {"data sheet, page 2"}
    assert "gel_time_min" not in system.sources
    system.sources = {**system.sources, "pot_life_min": "measured here"}
    system.save()
    changed = system_form(resin, hardener, demould_min="1500", source="data sheet of 2027")
    desk.post(f"/setup/resin-systems/{system.pk}/", changed)
    system.refresh_from_db()
    assert system.sources["pot_life_min"] == "measured here"
    assert system.sources["demould_min"] == "data sheet of 2027"
    assert system.demould_min == 1500


def test_a_value_that_no_filled_epoxy_has_is_asked_about(desk, two_materials):
    form = system_form(*two_materials, reference_c="73.4")
    asked = desk.post("/setup/resin-systems/enter/", form).content.decode()
    assert "73.4 °F would be 23.0 °C" in asked
    assert "Yes, the data sheet really says so" in asked
    assert not ResinSystem.objects.exists()
    desk.post("/setup/resin-systems/enter/", form | {"confirmed": "on"})
    assert str(ResinSystem.objects.get().reference_c) == "73.4"


@pytest.mark.parametrize(
    ("name", "typed", "kept"),
    [
        ("reference_c", "77 °F", "25.0"),
        ("reference_c", "73.4F", "23.0"),
        ("pot_life_mass_kg", "1.1 lb", "0.4990"),  # 1.1 x 0.45359237 = 0.49895...
        ("deepest_lift_mm", "2 in", "50.8"),
        ("demould_min", "24 h", "1440.0"),
    ],
)
def test_a_data_sheet_value_in_another_unit_is_kept_in_ours(
    desk, two_materials, name, typed, kept
):
    desk.post("/setup/resin-systems/enter/", system_form(*two_materials, **{name: typed}))
    assert str(getattr(ResinSystem.objects.get(), name)) == kept


def test_a_unit_of_another_kind_is_refused(desk, two_materials):
    form = system_form(*two_materials, reference_c="77 lb")
    assert "a number" in desk.post("/setup/resin-systems/enter/", form).content.decode()
    assert not ResinSystem.objects.exists()


def test_the_form_knows_where_to_see_what_its_values_come_to(desk, two_materials):
    desk.post("/setup/resin-systems/enter/", system_form(*two_materials))
    system = ResinSystem.objects.get()
    page = desk.get(f"/setup/resin-systems/{system.pk}/").content.decode()
    assert 'data-effect="/workbench/data-sheet/"' in page
    assert f'data-former="{system.code}"' in page
    assert "data-effect" not in desk.get("/setup/mixers/enter/").content.decode()


def test_hardener_is_no_resin(desk, two_materials):
    resin, hardener = two_materials
    form = system_form(hardener, resin)
    assert (
        "not one of the available choices"
        in desk.post("/setup/resin-systems/enter/", form).content.decode()
    )
    assert not ResinSystem.objects.exists()


def test_out_of_use_and_back(desk, site):
    mixer = enter(Mixer, site=site, code="M", name="Old mixer", largest_kg="9")
    desk.post(f"/setup/mixers/{mixer.pk}/keep/", {"in_use": "0"})
    desk.get("/setup/mixers/")  # shows the message once
    assert "Old mixer" not in desk.get("/setup/mixers/").content.decode()
    assert "Old mixer" in desk.get("/setup/mixers/?out_of_use=1").content.decode()
    desk.post(f"/setup/mixers/{mixer.pk}/keep/", {"in_use": "1"})
    mixer.refresh_from_db()
    assert mixer.in_use
    assert mixer.version == 3


def test_what_is_used_stays(desk, two_materials):
    resin, hardener = two_materials
    desk.post("/setup/resin-systems/enter/", system_form(resin, hardener))
    page = desk.post(f"/setup/materials/{resin.pk}/keep/", {"remove": "1"}, follow=True)
    assert "so it stays as their record" in page.content.decode()
    assert Material.objects.filter(pk=resin.pk).exists()
    wax = enter(Material, code="WAX", name="Wax", kind="release_agent")
    desk.post(f"/setup/materials/{wax.pk}/keep/", {"remove": "1"})
    assert not Material.objects.filter(pk=wax.pk).exists()


def test_rows_of_another_site_are_not_there(desk, site, other_site):
    theirs = enter(Place, site=other_site, code="B", name="Their bench")
    assert "Their bench" not in desk.get("/setup/places/").content.decode()
    assert desk.get(f"/setup/places/{theirs.pk}/").status_code == 404
    assert desk.post(f"/setup/places/{theirs.pk}/keep/", {"in_use": "0"}).status_code == 404
    theirs.refresh_from_db()
    assert theirs.in_use


def test_one_of_several_sites_cannot_change_what_all_work_by(
    desk, site, other_site, two_materials
):
    resin, hardener = two_materials
    system = enter(
        ResinSystem,
        code="X",
        name="System X",
        resin=resin,
        hardener=hardener,
        hardener_per_100=10,
        mixed_density_kg_l="1.7",
        pot_life_min=60,
        deepest_lift_mm=60,
        demould_min=1440,
        sources=dict.fromkeys(SYSTEM_VALUES, "sheet"),
    )
    changed = system_form(resin, hardener, pot_life_min="600")
    assert desk.post(f"/setup/resin-systems/{system.pk}/", changed).status_code == 403
    assert desk.post("/setup/materials/enter/", {}).status_code == 403
    assert desk.post(f"/setup/materials/{resin.pk}/keep/", {"remove": "1"}).status_code == 403
    assert desk.get("/setup/mixers/enter/").status_code == 200
    system.refresh_from_db()
    assert system.pot_life_min == 60


def test_long_lists_are_paged_and_searched(desk, site, django_assert_max_num_queries):
    for n in range(120):
        enter(Place, site=site, code=f"B{n:03d}", name=f"Bench {n:03d}")
    with django_assert_max_num_queries(20):
        text = desk.get("/setup/places/").content.decode()
    assert "Page 1 of 3" in text
    assert "Bench 050" not in text
    assert "Bench 117" in desk.get("/setup/places/?q=117").content.decode()


def test_no_such_register(desk):
    assert desk.get("/setup/unicorns/").status_code == 404


def test_a_closed_day_is_taken_away(desk, site):
    day = enter(ClosedDay, site=site, day="2026-12-25", reason="Holiday")
    desk.post(f"/setup/closed-days/{day.pk}/keep/", {"remove": "1"})
    assert not ClosedDay.objects.exists()
