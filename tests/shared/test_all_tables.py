"""An empty shop gets its tables at once: they are those that the single steps lead to."""

import pytest
from django.db.migrations.loader import MigrationLoader

APPS = ("shared", "shop", "planning")


@pytest.fixture(autouse=True)
def migrations(settings):
    """The tests' own database is made without them."""
    settings.MIGRATION_MODULES = {}


def described(*, at_once):
    """Return each model as its migrations describe it, the order of fields and rules aside."""
    state = MigrationLoader(None, replace_migrations=at_once).project_state()
    return {
        key: (
            {name: field.deconstruct()[1:] for name, field in model.fields.items()},
            {
                name: sorted(map(repr, value)) if name in ("constraints", "indexes") else value
                for name, value in model.options.items()
                if value or name not in ("constraints", "indexes")
            },
        )
        for key, model in state.models.items()
        if key[0] in APPS
    }


def test_all_at_once_and_step_by_step_describe_the_same_tables():
    at_once, by_steps = described(at_once=True), described(at_once=False)
    assert len(by_steps) > 90
    assert at_once.keys() == by_steps.keys()
    assert [key for key in by_steps if at_once[key] != by_steps[key]] == []


@pytest.mark.parametrize("app", APPS)
def test_a_new_shop_takes_the_short_way(app):
    loader = MigrationLoader(None)
    assert (app, "0001_initial") not in loader.graph.nodes
    assert any(key[0] == app and "squashed" in key[1] for key in loader.graph.nodes)
