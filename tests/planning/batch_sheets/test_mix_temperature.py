"""A mix planned warm: plan, page, sheet, PDF and REST know it, and say how warm it may be."""

import io
from decimal import Decimal

import pytest
from django.test import Client
from pypdf import PdfReader

from planning.batches.models import Batch, Lift
from planning.core.casting.pot_life import pot_life_min
from planning.core.casting.warmest_mix import peak_c
from planning.pours.models import Pour
from planning.pours.setting import Setting, setting_of
from planning.schedule.conditions import condition_at
from planning.system_data import system_data
from shared import clock
from shop import stores
from tests.callers import caller
from tests.conftest import make_user

SHOP_C = 22.0
"""As the invented shop expects."""


def deep(take, **fields):
    return take(system="T", depth_mm="65", **fields)


def texts_of(batch):
    """Return what batch page, sheet, PDF and API say of a batch, each as one text."""
    user = make_user("technician", batch.site)
    page = Client()
    page.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    day = clock.local(batch.planned_start, batch.site).date()
    pdf = PdfReader(io.BytesIO(page.get(f"/sheets/{day}.pdf").content))
    rest = caller(user, [batch.site]).get(f"/api/v1/sheets/{day}?site={batch.site.code}").json()
    (row,) = [one for one in rest["batches"] if one["id"] in (batch.pk, str(batch.pk))]
    return {
        "page": " ".join(page.get(f"/batches/{batch.pk}/").content.decode().split()),
        "sheet": " ".join(page.get(f"/sheets/{day}/").content.decode().split()),
        "pdf": " ".join(" ".join(one.extract_text() for one in pdf.pages).split()),
        "rest": " ".join([row["mix_words"], *(one["text"] for one in row["assumed"])]),
    }, row


def test_a_warm_mix_is_planned_with_its_short_pot_life_and_shallow_lifts(take, planned):
    planned(deep(take, mix_c="34"))
    batches = list(Batch.objects.order_by("planned_start"))
    info = stores.system(batches[0].system_id)
    system = system_data(info)
    for batch in batches:
        assert batch.mix_c == Decimal("34.0")
        kg = float(batch.mixed_kg)
        assert batch.pot_life_min == int(pot_life_min(system, SHOP_C, kg, 34.0).value)
        assert batch.pot_life_min < pot_life_min(system, SHOP_C, kg).value / 2
        assert "mix planned at 34 °C" in batch.pot_life_basis
        poured = (batch.planned_pour_end - batch.planned_contact).total_seconds() / 60
        assert poured <= batch.pot_life_min
    lifts = list(Lift.objects.all())
    assert len(lifts) == 2, "65 mm are too deep for one warm lift"
    for lift in lifts:
        for base, top in setting_of(lift.pour).faces():
            assert peak_c(system, float(lift.depth_mm), SHOP_C, base, top, 34.0) <= 80.0


def test_the_same_pour_as_warm_as_the_shop_is_one_lift(take, planned):
    planned(deep(take))
    assert Lift.objects.count() == 1
    assert Batch.objects.get().mix_c is None


@pytest.mark.parametrize("mix_c", [None, "30"])
def test_page_sheet_pdf_and_rest_say_how_warm_the_mix_is_planned_and_may_be(take, planned, mix_c):
    planned(deep(take, **({} if mix_c is None else {"mix_c": mix_c})))
    batch = Batch.objects.first()
    texts, row = texts_of(batch)
    wanted = "Mix planned as warm as the shop, 22 °C" if mix_c is None else "Mix planned at 30 °C"
    most = f"it may be {row['mix_most_c']} °C at most"
    for where, text in texts.items():
        assert wanted in text, where
        assert most in text, where
    # One degree more breaks what the words name; the limit itself does not.
    system = system_data(stores.system(batch.system_id))
    needed = (batch.planned_pour_end - batch.planned_contact).total_seconds() / 60

    def holds(celsius):
        kg = float(batch.mixed_kg)
        life = pot_life_min(system, celsius, kg).value
        peaks = [
            peak_c(system, float(p.lift.depth_mm), SHOP_C, base, top, celsius)
            for p in batch.portions.all()
            for base, top in setting_of(p.lift.pour).faces()
        ]
        return life >= needed and max(peaks) <= 80.0

    assert holds(row["mix_most_c"])
    assert not holds(row["mix_most_c"] + 1.5)


def test_a_heated_mould_makes_its_lifts_shallower_and_leaves_the_pot_life(take, planned):
    planned(deep(take, mould_c="60"))
    assert Lift.objects.count() > 1
    texts, _ = texts_of(Batch.objects.first())
    assert "mould at 60 °C" in texts["sheet"]
    assert "mould at 60 °C" in texts["pdf"]
    page = Client()
    user = make_user("technician", Batch.objects.first().site)
    page.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    assert "Mould held at" in page.get(f"/pours/{Pour.objects.get().pk}/").content.decode()
    info = stores.system_by_code("T")
    plain = condition_at(info, 0, SHOP_C, [Setting("board")])
    hot = condition_at(info, 0, SHOP_C, [Setting("board", mould_c=60.0)])
    assert hot.pot_life_min == plain.pot_life_min
    assert hot.gel_limit_min < plain.gel_limit_min
    assert hot.cure_min >= plain.cure_min, "a warm mould opens nothing early"


@pytest.mark.django_db
def test_one_warm_mix_shortens_the_pot_life_of_every_pour_it_may_share_a_pot_with(shop_site):
    info = stores.system_by_code("T")
    plain, warm = Setting("board"), Setting("board", mix_c=35.0)
    both = condition_at(info, 0, SHOP_C, [plain, warm], 5.0)
    alone = [condition_at(info, 0, SHOP_C, [one], 5.0) for one in (plain, warm)]
    assert both.pot_life_min == min(one.pot_life_min for one in alone) == alone[1].pot_life_min
    assert both.gap_least_min == max(one.gap_least_min for one in alone)
    assert both.cure_min == max(one.cure_min for one in alone)


def test_a_hot_mould_under_an_unknown_side_leads_heat_in_and_may_also_be_cold():
    plain, hot = Setting("unknown", mould_c=60.0).faces()
    assert plain == Setting("unknown").faces()[0]
    assert (hot[0].film_w_m2k, hot[0].around_c, hot[1].around_c) == (50.0, 60.0, None)
    _, oven = Setting("board", oven_c=45.0).faces()
    assert (oven[0].around_c, oven[1].around_c) == (45.0, 45.0)


@pytest.mark.parametrize(
    ("typed", "kept"), [("104 °F", "40.0"), ("104F", "40.0"), ("31,5", "31.5")]
)
def test_the_order_page_takes_celsius_and_fahrenheit(shop_site, client, typed, kept):
    from planning.routes.models import Route

    user = make_user("planner", shop_site)
    client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    good = {
        "tool_code": "CUP-7", "route": Route.objects.get(code="single").pk,
        "due_on": "2026-12-04", "priority": "1",
        "a-system_id": stores.system_by_code("T").id, "a-geometry": "box", "a-depth_mm": "30",
        "a-length_mm": "200", "a-width_mm": "100", "a-tool_side": "board",
    }  # fmt: skip
    bad = client.post("/orders/new/", {**good, "a-mix_c": "104"})
    assert bad.status_code == 422
    assert "Planned temperature of the mix is 104.0 °C; it must be 0 to 60 °C." in (
        bad.content.decode()
    )
    unknown = client.post("/orders/new/", {**good, "a-mix_c": "40 lb"})
    assert "Planned temperature of the mix is 40 lb; it must be a number" in (
        unknown.content.decode()
    )
    assert client.post("/orders/new/", {**good, "a-mix_c": typed}).status_code == 302
    assert str(Pour.objects.get().mix_c) == kept
