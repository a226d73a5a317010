"""A stored resin system as the physics core sees it."""

from dataclasses import replace
from decimal import Decimal

import pytest

from planning.schedule.core_values import _pot_kg
from planning.system_data import system_data
from shop import stores


@pytest.fixture
def told(take):
    """The demo's computed system with other marks."""
    info = stores.system(take(system="T").system_id)

    def with_marks(**marks):
        return system_data(replace(info, kinetics={**info.kinetics, "marks": marks}))

    return with_marks


@pytest.mark.parametrize(("hydrogens", "gels_at"), [(4, 0.577), (5.54, 0.469)])
def test_gel_follows_from_the_hardeners_functionality(told, hydrogens, gels_at):
    """Four hydrogens as a diamine; 5.54 measured for a triethylenetetramine type (0.469)."""
    assert told(hardener_hydrogens=hydrogens).gel_conversion == pytest.approx(gels_at, abs=1e-3)


def test_stated_gel_conversion_goes_before_the_functionality(told):
    system = told(hardener_hydrogens=5.54, gel_conversion=0.6)
    assert system.gel_conversion == 0.6
    assert told().gel_conversion == 0.577


def test_plan_holds_pots_of_unknown_heat_near_the_mass_of_their_pot_life(take):
    """The demo's quick system was read on 0.5 kg, and its shop says that it pours 8 kg."""
    info = stores.system(take(system="Q").system_id)
    assert _pot_kg(info) == 8.0
    assert _pot_kg(replace(info, kinetics=None)) == 2.5
    assert _pot_kg(replace(info, kinetics=None, vessel_kg=Decimal(2))) == 2.0
