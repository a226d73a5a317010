"""What all tests share: a small site, people of every role, and callers that speak for them."""

from __future__ import annotations

import gc
import os
import shutil
import tempfile
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from typing import Any

import pytest
import time_machine
from django.conf import settings
from django.db import connection
from django.test import TransactionTestCase
from hypothesis import HealthCheck
from hypothesis import settings as examples

from shared import append_only
from shared.access.models import Site
from shared.api.roles import ROLES
from tests import reference_cases
from tests.callers import Caller, caller, make_site, make_user

examples.register_profile(
    "house",
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow],
    derandomize="CI" in os.environ,
)
examples.load_profile("house")
"""
Property tests judge answers, not how busy the machine is. The build tries the same examples each
time, so that it goes red for a change and for nothing else; at a desk they are new each time.
"""

NOON = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)
"""A Wednesday in ISO week 48; the frozen clock begins here."""


_empty_tables = TransactionTestCase._fixture_teardown


def _empty_tables_without_triggers(case: TransactionTestCase) -> None:
    """Empty all tables after a test; only for that the append-only triggers come off."""
    append_only.remove(connection)
    try:
        _empty_tables(case)
    finally:
        append_only.install(connection)


TransactionTestCase._fixture_teardown = _empty_tables_without_triggers


def pytest_configure(config: pytest.Config) -> None:
    """Give all workers of this run one folder for what each of them would make alike."""
    if not hasattr(config, "workerinput"):
        os.environ["TEST_RUN_FOLDER"] = tempfile.mkdtemp(prefix="shop-run-", dir="/tmp")


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Begin the two longest modules first, one on each core; they use no test database."""
    items.sort(key=lambda item: not item.nodeid.startswith("tests/shared/test_any_input"))


def pytest_collection_finish(session: pytest.Session) -> None:
    """Keep what all tests stand on out of the garbage collector: it is walked often otherwise."""
    gc.collect()
    gc.freeze()


@pytest.hookimpl(wrapper=True)
def pytest_runtest_call(item: pytest.Item) -> Iterator[None]:
    """Fail a test that bears a reference row and never asked what the row expects."""
    reference_cases.LOOKED_AT.clear()
    yield
    if missed := reference_cases.not_looked_at(item):
        pytest.fail(f"passed without looking at what these rows expect: {missed}")


def pytest_unconfigure(config: pytest.Config) -> None:
    """Remove the tests' own folders, once, when all workers are done with them."""
    if hasattr(config, "workerinput"):
        return
    shutil.rmtree(os.environ["TEST_RUN_FOLDER"], ignore_errors=True)
    if "shop-test-" in str(settings.DATA):
        shutil.rmtree(settings.DATA, ignore_errors=True)


@pytest.fixture(scope="session")
def django_db_setup(django_db_setup: None, django_db_blocker: Any) -> None:
    """Tables come from the models, for speed; the triggers, which migrations add, come here."""
    with django_db_blocker.unblock():
        append_only.install(connection)


@pytest.fixture
def frozen() -> Iterator[time_machine.Traveller]:
    """Stop the clock at Wednesday noon; `frozen.shift(...)` and `frozen.move_to(...)` move it."""
    with time_machine.travel(NOON, tick=False) as traveller:
        yield traveller


@pytest.fixture
def site(db: None) -> Site:
    """The usual site of a test."""
    return make_site("main", is_default=True)


@pytest.fixture
def other_site(db: None) -> Site:
    """A site that people of `site` do not belong to."""
    return make_site("north", time_zone="America/Halifax")


@pytest.fixture
def api(site: Site) -> Callable[..., Caller]:
    """`api("planner")` is a client of that role at the usual site, `api(None)` a stranger's."""

    def make(role: str | None = "administrator", at: Site | None = None) -> Caller:
        if role is None:
            return caller(None)
        assert role in ROLES, f"{role} is not a role"
        place = at or site
        return caller(make_user(role, place), [place])

    return make


@pytest.fixture
def browser_of(site: Site) -> Callable[..., Any]:
    """`browser_of("planner")` is a Django client signed in to the pages as that role."""
    from django.test import Client

    def make(role: str = "administrator", at: Site | None = None) -> Client:
        client = Client()
        client.force_login(
            make_user(role, at or site), backend="django.contrib.auth.backends.ModelBackend"
        )
        return client

    return make
