"""A shop in one file: from nothing to the first sheet, and the same shop again."""

import io

import pytest
from django.core.management import call_command
from django.db import transaction
from openpyxl import load_workbook

from planning.files import actions
from planning.files.sheets import SHEETS
from planning.management.callers import chosen_caller
from shared.access.models import Site
from tests.planning.files.conftest import found_own, read

pytestmark = pytest.mark.django_db


def sheets_of(data):
    """Return what another program reads in a workbook."""
    book = load_workbook(io.BytesIO(data))
    return {sheet.title: [list(row) for row in sheet.values] for sheet in book}


@pytest.mark.parametrize("form", ["xlsx", "csv"])
def test_the_sample_is_read_into_an_empty_shop_and_again_changes_nothing(own, form):
    data, ending = actions.sample_file(site=own[1], form=form)
    tried = read(own, data, f"sample.{ending}", trial=True)
    assert tried.trial
    done = read(own, data, f"sample.{ending}")
    assert {n: c.new for n, c in tried.counts.items()} == {
        n: c.new for n, c in done.counts.items()
    }
    assert done.counts["Materials"].new == 3
    again = read(own, data, f"sample.{ending}")
    assert [n for n, one in again.counts.items() if one.new or one.changed] == []
    assert again.counts["Stock"].same == 3


@pytest.mark.parametrize("form", ["xlsx", "csv"])
def test_the_demo_read_into_an_empty_shop_is_the_same_shop(frozen, form):
    with transaction.atomic():
        call_command("load_demo", verbosity=0)
        site = Site.objects.get()
        demo = chosen_caller(None, site), site
        data, ending = actions.shop_file(caller=demo[0], site=site, form=form)
        whole, _ = actions.shop_file(caller=demo[0], site=site, form="xlsx")
        transaction.set_rollback(True)
    assert not Site.objects.exists()
    own = found_own()
    read(own, data, f"shop.{ending}")
    again, _ = actions.shop_file(caller=own[0], site=own[1], form="xlsx")
    before, after = sheets_of(whole), sheets_of(again)
    assert list(before) == ["Columns", *(sheet.name for sheet in SHEETS)]
    for name, rows in before.items():
        assert after[name] == rows, name
    assert len(before["Stock"]) > 15
    assert len(before["Route steps"]) > 15
    assert len(before["Orders"]) > 3
