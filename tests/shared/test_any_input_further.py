"""Any input gets a described answer: the addresses `test_any_input.py` leaves out."""

import pytest

from tests.shared.test_any_input import FIRST_HALF, try_any_input


@pytest.mark.servers
def test_any_input_gets_a_described_answer_at_the_other_addresses(tmp_path):
    try_any_input(tmp_path, "--exclude-path-regex", FIRST_HALF)
