"""Published bin packing instances, packed by the code that bounds the pots of a week."""

import time

import pytest

from planning.core.solver import packing
from planning.core.solver.packing import Item
from tests.benchmarks import instances
from tests.reference_cases import params, rows

FILE = "planning_checks.csv"
SETS = ("u120", "u250", "planted", "N1C", "N2C", "N1W", "N2W")
ON_REQUEST = "bin_packing/N2W1B3R7.bpp"
"""Takes 3 s."""
ROWS = [
    pytest.param(
        row, id=row["file"],
        marks=[pytest.mark.benchmark_run] if row["file"] == ON_REQUEST else [],
    )
    for row in instances.optima("bin_packing")
    if any(row["file"].startswith(f"bin_packing/{s}") for s in SETS)
]  # fmt: skip
TABLED = [c.id for c in rows(FILE) if "/bin_packing/" in c.inputs.get("file", "")]


@pytest.mark.parametrize("row", ROWS)
def test_the_fewest_bins_are_found_and_proven(row):
    sizes, capacity = instances.bins(row["file"])
    found = packing.pack(sizes, capacity, seconds=900)
    assert len(found.bins) == found.bound == int(row["best_known"])
    assert sorted(i for b in found.bins for i in b) == list(range(len(sizes)))
    assert all(sum(sizes[i] for i in b) <= capacity for b in found.bins)


@pytest.mark.parametrize("case", params(FILE, *TABLED))
def test_tabled_figures_are_those_of_instances_that_are_packed(case):
    solved = {param.values[0]["file"]: param.values[0] for param in ROWS}
    row = solved[case.inputs["file"].removeprefix("benchmarks/")]
    assert int(row["best_known"]) == case.expected, case.words


def test_an_item_larger_than_a_bin_is_refused():
    with pytest.raises(ValueError, match="an item of 11 is larger than a bin of 10"):
        packing.pack([3, 11], 10)


def test_portions_that_are_never_ready_together_take_a_pot_each():
    together = [Item(4, 0, 2), Item(4, 1, 3)]
    apart = [Item(4, 0, 1), Item(4, 2, 3)]
    assert packing.least_bins(together, 10) == 1
    assert packing.least_bins(apart, 10) == 2


@pytest.mark.parametrize("seconds", [1.0, 3.0])
def test_a_hard_instance_keeps_to_its_time_and_is_still_packed(seconds):
    sizes, capacity = instances.bins("bin_packing/HARD0.bpp")
    begun = time.process_time()
    found = packing.pack(sizes, capacity, seconds=seconds)
    assert time.process_time() - begun < seconds + 1.5
    assert 50 <= found.bound <= len(found.bins) <= 60
    assert sorted(i for b in found.bins for i in b) == list(range(len(sizes)))
    assert all(sum(sizes[i] for i in b) <= capacity for b in found.bins)
