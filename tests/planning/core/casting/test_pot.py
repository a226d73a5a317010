"""What a pot gives to its portions: by hand and for any masses."""

from decimal import Decimal as D

from hypothesis import given
from hypothesis import strategies as st

from planning.core.casting.pot import Row, all_weighed, offer

KG = st.decimals(0, 60, places=4)


def test_a_full_pot_gives_each_portion_as_planned_and_tells_what_is_left():
    found = offer(weighed_kg=D(8), residue_kg=D("0.2"), poured_kg=D(0), open_kg=[D(5), D(2)])
    assert (found.kg, found.missing_kg, found.over_kg) == ((D(5), D(2)), D(0), D("0.8"))


def test_a_short_pot_is_divided_in_the_planned_proportion():
    """4.5 kg instead of 7.6: 4.4 pourable for 7.4 planned, so each gets 4.4/7.4 of its own."""
    found = offer(
        weighed_kg=D("4.5"), residue_kg=D("0.1"), poured_kg=D(0), open_kg=[D("5.5"), D("1.9")]
    )
    assert found.kg == (D("3.2702"), D("1.1297"))
    assert found.missing_kg == D(3)


def test_what_is_missing_by_less_than_the_scale_shows_is_not_missing():
    found = offer(
        weighed_kg=D("7.499"),
        residue_kg=D(0),
        poured_kg=D(0),
        open_kg=[D("7.5")],
        division_kg=D("0.001"),
    )
    assert (found.kg, found.missing_kg) == ((D("7.4990"),), D(0))


@given(KG, KG, KG, st.lists(st.decimals("0.0001", 30, places=8), max_size=6))
def test_a_pot_never_gives_more_than_lies_in_it_nor_more_than_planned(weighed, stays, gone, kg):
    found = offer(weighed_kg=weighed, residue_kg=stays, poured_kg=gone, open_kg=kg)
    assert sum(found.kg) <= max(D(0), max(D(0), weighed - stays) - gone)
    assert all(0 <= one <= planned for one, planned in zip(found.kg, kg, strict=True))
    assert not (found.missing_kg and found.over_kg)


def test_a_row_stays_open_until_its_mass_is_there_or_no_more_goes_in():
    rows = [Row("resin", D(6), D(4)), Row("hardener", D("0.7"), D("0.5"))]
    assert not all_weighed(rows)
    assert all_weighed([Row("resin", D(6), D(4), no_more=True), rows[1]])
    assert all_weighed([Row("resin", D(4), D(2)), Row("resin", D(2), D(4)), rows[1]])
    assert not all_weighed([Row("resin", D(6), D(6)), Row("hardener", D("0.7"), D(0))])
