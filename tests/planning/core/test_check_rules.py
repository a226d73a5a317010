"""Each rule is broken on purpose in a valid week, and the check names that rule and no other."""

import re

import pytest

import planning.core.plan as contract
from planning.core.check import RULES, check
from tests.planning.core.spoiled_casting import CASTING, PLACING
from tests.planning.core.spoiled_shop import LOTS, PEOPLE_AND_PLACES, TIMES

SPOILED = [*PLACING, *CASTING, *TIMES, *PEOPLE_AND_PLACES, *LOTS]


@pytest.mark.parametrize(("rule", "week", "load", "plan"), SPOILED)
def test_spoiled_week_breaks_exactly_that_rule(rule, week, load, plan):
    asked, planned = week()
    found = check(load(asked), plan(planned))
    assert {violation.rule for violation in found} == {rule}, found
    assert all(violation.subjects and violation.words.endswith(".") for violation in found)


def test_spoiled_table_covers_every_rule_of_the_contract():
    stated = re.findall(r"^``(\w+)``", contract.__doc__, flags=re.MULTILINE)
    assert len(stated) == 26
    assert list(RULES) == stated
    assert {row.values[0] for row in SPOILED} == set(stated)
