"""What the tests of the shared part use besides the usual site and callers."""

import pytest
from django.db import transaction

from tests.shared.two_shops import two_shops


@pytest.fixture(scope="module")
def shops(django_db_setup, django_db_blocker):
    """Two shops with everybody who may be in them, undone at the end of a module."""
    with django_db_blocker.unblock(), transaction.atomic():
        yield two_shops()
        transaction.set_rollback(True)
