"""What the tests of the shop share besides the usual site and callers."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext


@pytest.fixture
def queries():
    """Count the statements that a call sends to the database."""

    def count(call):
        with CaptureQueriesContext(connection) as asked:
            call()
        return len(asked)

    return count


@pytest.fixture
def count_queries(queries):
    """The same, for modules that know the shop's `queries` by that name."""
    return queries
