"""A stored resin system as the physics core sees it."""

from dataclasses import replace

import pytest

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
