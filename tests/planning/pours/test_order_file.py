from datetime import date

import pytest

from planning.pours import order_file
from planning.pours.models import Pour, ToolOrder
from shared.errors import Invalid

HEADER = "order,tool,route,due_on,half,system,length_mm,width_mm,depth_mm,release_recipe"


def row(n, **changes):
    cells = {
        "order": f"C-{n}",
        "tool": f"TOOL-{n}",
        "route": "single",
        "due_on": "2026-12-04",
        "half": "A",
        "system": "T",
        "length_mm": "200",
        "width_mm": "150",
        "depth_mm": "60",
        "release_recipe": "WAX5",
    }
    cells.update(changes)
    return ",".join(cells.values())


def file_of(*rows):
    return ("\r\n".join([HEADER, *rows]) + "\r\n").encode()


def test_forty_orders_are_taken_in(shop_site, now):
    orders = order_file.load_pours(
        site_id=shop_site.pk, data=file_of(*(row(n) for n in range(40))), now=now
    )
    assert len(orders) == 40
    pour = Pour.objects.get(order__number="C-7")
    assert pour.due_on == date(2026, 12, 4)
    assert float(pour.mass_kg) == pytest.approx(0.2 * 0.15 * 0.06 * 1000 * 1.70)


def test_one_bad_row_of_fifty_stores_nothing_and_is_named(shop_site, now):
    rows = [row(n) for n in range(50)]
    rows[16] = row(16, depth_mm="-60")
    with pytest.raises(Invalid) as refused:
        order_file.load_pours(site_id=shop_site.pk, data=file_of(*rows), now=now)
    (problem,) = refused.value.problems
    assert problem.pointer == "#/rows/18/depth_mm"
    assert "Line 18: depth_mm is -60 mm" in problem.detail
    assert ToolOrder.objects.count() == 0


@pytest.mark.parametrize(
    ("changes", "pointer", "words"),
    [
        ({"due_on": "2026-02-30"}, "due_on", "a date that exists"),
        ({"due_on": "03/04/26"}, "due_on", "2026-12-04"),
        ({"length_mm": "200;5"}, "length_mm", "decimal point"),
        ({"due_on": "2020-12-04"}, "due_on", "check the year"),
        ({"due_on": "2206-12-04"}, "due_on", "check the year"),
        ({"length_mm": "200.25"}, "length_mm", "at most 1 decimal."),
        ({"depth_mm": "60.04"}, "depth_mm", "at most 1 decimal."),
        ({"length_mm": "99999999"}, "length_mm", "below 10000000 mm"),
        ({"length_mm": "9999", "width_mm": "9999", "depth_mm": "9999"}, "length_mm", "6000 mm"),
        ({"length_mm": "5999", "width_mm": "5999", "depth_mm": "5999"}, "depth_mm", "20,000 kg"),
        ({"length_mm": "NaN"}, "length_mm", "plain number of mm"),
        ({"length_mm": "1e3"}, "length_mm", "plain number of mm"),
        ({"system": "X"}, "system", "known: Q, T"),
        ({"route": "none"}, "route", "known: matched, single"),
        ({"half": "C"}, "half", "A, B"),
        ({"order": "bad number"}, "order", "letters, digits"),
        ({"depth_mm": ""}, "depth_mm", "number"),
    ],
)
def test_every_bad_cell_says_what_would_be_accepted(shop_site, now, changes, pointer, words):
    with pytest.raises(Invalid) as refused:
        order_file.load_pours(site_id=shop_site.pk, data=file_of(row(1, **changes)), now=now)
    (problem,) = refused.value.problems
    assert problem.pointer == f"#/rows/2/{pointer}"
    assert words in problem.detail


def test_every_bad_row_is_named_at_once(shop_site, now):
    rows = [row(1, depth_mm="x"), row(2), row(3, due_on="soon")]
    with pytest.raises(Invalid) as refused:
        order_file.load_pours(site_id=shop_site.pk, data=file_of(*rows), now=now)
    assert [p.pointer for p in refused.value.problems] == ["#/rows/2/depth_mm", "#/rows/4/due_on"]


def test_both_halves_of_a_matched_set_are_needed(shop_site, now):
    with pytest.raises(Invalid, match="1 problem") as refused:
        order_file.load_pours(site_id=shop_site.pk, data=file_of(row(1, route="matched")), now=now)
    assert "casts A and B" in refused.value.problems[0].detail


@pytest.mark.parametrize(
    ("bad", "words"),
    [
        ("order,colour\r\n", "Unknown: colour"),
        (HEADER + "\r\n", "no rows"),
        (HEADER + '\r\n"open', "Line 2 cannot be read"),
        (HEADER + "\r\na,b\r\n", "Line 2 has 2 cells"),
    ],
)
def test_a_file_that_is_no_table_is_refused(shop_site, now, bad, words):
    with pytest.raises(Invalid) as refused:
        order_file.load_pours(site_id=shop_site.pk, data=bad.encode(), now=now)
    assert words in refused.value.problems[0].detail


def test_a_dry_run_stores_nothing(shop_site, now):
    assert (
        order_file.load_pours(site_id=shop_site.pk, data=file_of(row(1)), now=now, dry_run=True)
        == []
    )
    assert not ToolOrder.objects.exists()
