"""
Wrong inputs, each through page, file and API: answered at its field in words, nothing saved.

A row of the table is one slip at the keyboard; it goes through three doors.
"""

import json
import re

import pytest
from django.apps import apps
from django.test import Client

from planning.files.sheets import BY_NAME
from planning.files.writing import sample
from shared import clock
from shared.errors import Invalid
from shared.workbook import SheetRows, book
from shop.materials.models import Material
from tests.callers import caller
from tests.planning.files.conftest import read

pytestmark = pytest.mark.django_db
HX, RX = "HX", "RX"
GOOD = {
    "Mixers": ("mixers", {"code": "M9", "name": "M", "largest_kg": "9", "least_kg": "1"}, {}),
    "Scales": ("scales", {"code": "S9", "name": "S", "capacity_kg": "9", "readability_g": "1"},
               {}),
    "Places": ("places", {"code": "P9", "name": "P", "kind": "bench", "capacity": 1}, {}),
    "Shelves": ("shelves", {"code": "L9", "name": "L", "lowest_c": "15"}, {}),
    "Closed days": ("closed-days", {"day": "2026-12-24", "reason": "Feast"}, {}),
    "Temperatures": ("temperatures", {"day": "2026-12-24", "shop_c": "20"}, {}),
    "Materials": ("materials", {"code": "R9", "name": "R", "kind": "resin", "unit": "kg",
                  "storage_low_c": "15"}, {"warm_hours": "0"}),
    "Suppliers": ("suppliers", {"code": "V9", "name": "V", "lead_time_days": 7,
                  "currency": "EUR"}, {}),
    "Resin systems": ("resin-systems", {
        "code": "Y", "name": "Y", "resin": RX, "hardener": HX, "hardener_per_100": "10",
        "mixed_density_kg_l": "1.7", "pot_life_min": "60", "pot_life_mass_kg": "0.5",
        "reference_c": "23", "deepest_lift_mm": "60", "demould_min": "1440",
        "gap_least_min": "60"},
        {"ratio_tolerance_percent": "2", "least_batch_kg": "0", "residue_fixed_kg": "0.03",
         "residue_share": "0.01"}),
    "Release recipes": ("release-recipes", {
        "code": "W9", "name": "W", "material": "WAX", "coats": 2, "hands_min_per_m2": "10",
        "dry_min": 15, "last_dry_min": 30, "source": "sheet"}, {"least_hands_min": "5"}),
}  # fmt: skip
"""Of each sheet the page of its register, a row that is right, and what the page asks besides."""
NUMBER = r"number|decimal"
WRONG = [
    # units
    ("Mixers", "largest_kg", "15 kg", NUMBER),
    ("Scales", "readability_g", "half a gram", NUMBER),
    ("Materials", "density_kg_l", "1,75,0", NUMBER),
    ("Resin systems", "demould_min", "a day", NUMBER),
    # ranges
    ("Mixers", "largest_kg", "0", "above"),
    ("Mixers", "largest_kg", "-3", "above"),
    ("Mixers", "largest_kg", "0.5", "above"),
    ("Scales", "capacity_kg", "0", "above 0"),
    ("Scales", "readability_g", "1.00005", r"3 (digits|decimal places)|at most 3"),
    ("Places", "capacity", "0", r"greater than or equal to 1|1 or more"),
    ("Places", "capacity", "1.5", "whole number"),
    ("Shelves", "highest_c", "5", "must not be below"),
    ("Temperatures", "shop_c", "68", "45"),
    ("Materials", "density_kg_l", "-1", "above 0"),
    ("Materials", "shelf_life_months", "0", "greater than or equal to 1"),
    ("Materials", "storage_high_c", "5", "must not be below"),
    ("Suppliers", "lead_time_days", "-3", "greater than or equal to 0"),
    ("Resin systems", "pot_life_min", "0", r"above 0|usual"),
    ("Resin systems", "reference_c", "73.4", "73.4 °F would be 23.0 °C"),
    ("Resin systems", "gap_greatest_min", "30", "must not be below"),
    ("Release recipes", "coats", "0", "greater than or equal to 1"),
    # dates
    ("Scales", "next_check_on", "2026-02-30", r"exist|valid date"),
    ("Closed days", "day", "03/04/2026", r"2026-04-03|such as 2026-11-30|valid date"),
    ("Temperatures", "day", "31.12.26", r"2026-12-31|such as 2026-11-30|valid date"),
    # missing
    ("Mixers", "code", "", r"required|blank|empty"),
    ("Materials", "name", "", r"required|blank|empty"),
    ("Closed days", "day", "", r"required|such as 2026-11-30|empty"),
    ("Resin systems", "deepest_lift_mm", "", r"required|decimal|empty"),
    ("Release recipes", "source", "", r"required|blank|empty"),
    # words and codes
    ("Mixers", "code", "m ü", "Use letters, digits"),
    ("Places", "kind", "roof", r"one of|not one of"),
    ("Materials", "kind", "paint", r"one of|not one of"),
    ("Materials", "hazard_statements", "irritant", "no hazard code"),
    ("Suppliers", "order_email", "not a mail", "valid email"),
    ("Suppliers", "currency", "EURO", r"3 characters"),
    ("Resin systems", "hardener", RX, r"is a resin|choice"),
    ("Release recipes", "material", "NONE", r"choice|not the id|on no row"),
    # there already
    ("Mixers", "code", "D1", r"already|unique"),
    ("Materials", "code", "RX", r"already|unique"),
    ("Temperatures", "day", "2026-11-30", r"already|unique"),
]  # fmt: skip


@pytest.fixture
def filled(own):
    """A shop that has what the sample has."""
    person, site = own
    cells = sample(clock.today(site))
    sheets = [SheetRows(n, BY_NAME[n].names, rows, [9] * 50) for n, rows in cells.items()]
    read(own, book(sheets))
    return person, site


def everything():
    """Return how many rows every table has, and what the shop's own rows say."""
    counts = {m._meta.label: m._base_manager.count() for m in apps.get_models()}
    for name in ("axes.AccessLog", "sessions.Session", "shared.IdempotencyKey"):
        counts.pop(name, None)
    return counts


def case(row):
    sheet, column, wrong, _ = row
    return f"{sheet}, {column}: {wrong or 'empty'}"


@pytest.fixture(params=WRONG, ids=case)
def slip(request):
    return request.param


def ids():
    return {row.code: str(row.pk) for row in Material.objects.all()}


def test_the_table_holds_at_least_sixty():
    assert 3 * len(WRONG) >= 60
    assert len(set(map(case, WRONG))) == len(WRONG)


def test_on_its_page(filled, slip):
    sheet, column, wrong, words = slip
    slug, good, more = GOOD[sheet]
    form = {**good, **more, "change_reason": "x", column: wrong}
    if sheet == "Resin systems":
        form["source"] = "sheet"
    links = {c.name for c in BY_NAME[sheet].columns if c.kind == "link"}
    form = {n: ids().get(v, v) if n in links else v for n, v in form.items()}
    page = Client()
    page.force_login(filled[0].user)
    before = everything()
    answer = page.post(f"/setup/{slug}/enter/", form)
    assert everything() == before
    assert answer.status_code == 200
    told = answer.context["form"].errors
    assert column in told, told
    assert re.search(words, " ".join(told[column])), told
    # It stands beside the field, and what was typed is still there.
    shown = answer.content.decode()
    field = shown.partition(f'id="id_{column}"')[0].rpartition('<div class="field')[2]
    assert "errorlist" in field
    assert not re.search(r"\b[a-z]+_[a-z_]+\b", " ".join(told[column])), "a column's name"


def test_in_a_file(filled, slip):
    sheet, column, wrong, words = slip
    values = {**GOOD[sheet][1], column: wrong}
    if sheet == "Resin systems":
        values.setdefault("source", "sheet")
    rows = [[values.get(name) or None for name in BY_NAME[sheet].names]]
    if words.startswith("already"):
        rows += rows  # a row that is there is changed; two rows of one code are a slip
    before = everything()
    with pytest.raises(Invalid) as refused:
        read(filled, book([SheetRows(sheet, BY_NAME[sheet].names, rows, [9] * 50)]))
    assert everything() == before
    found = {one.pointer: one.detail for one in refused.value.problems}
    line = 3 if words.startswith("already") else 2
    at = f"#/{sheet}/{line}/{column}"
    assert at in found, found
    assert found[at].startswith(f"{sheet}, row {line}, {column}: ")
    assert re.search(words, found[at]), found


def test_over_the_api(filled, slip):
    sheet, column, wrong, words = slip
    body = {**GOOD[sheet][1], column: wrong}
    if sheet == "Resin systems":
        body["sources"] = dict.fromkeys(body, "sheet")
    for one in BY_NAME[sheet].columns:
        if one.kind == "link" and one.name in body:
            body[one.name] = ids().get(body[one.name], "999999")
        if one.kind == "words" and one.name in body:
            body[one.name] = [body[one.name]]
        if one.kind == "whole" and re.fullmatch(r"-?\d+", str(body.get(one.name, ""))):
            body[one.name] = int(body[one.name])
    client = caller(filled[0].user, [filled[1]])
    before = everything()
    before["shared.AccessToken"] = before.get("shared.AccessToken", 0)
    answer = client.post(f"/api/v1/{BY_NAME[sheet].address}", body, format="json")
    assert everything() == before
    assert answer.status_code == 422, answer.content
    problem = json.loads(answer.content)
    found = {one["pointer"]: one["detail"] for one in problem["errors"]}
    [at] = [pointer for pointer in found if pointer.startswith(f"#/{column}")] or [None]
    assert at, found
    assert re.search(words, found[at]), found
