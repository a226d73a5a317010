"""The end of pot life on the sheet, counted from the first contact that really was."""

from datetime import timedelta

import pytest

from planning.batch_sheets.queries import sheet
from planning.batches.models import Batch


@pytest.mark.parametrize("minutes", [-20, 0, 25])
def test_the_sheet_counts_the_pot_life_from_first_contact_and_not_from_its_plan(
    planned, shop_site, minutes
):
    planned()
    batch = Batch.objects.get()
    day = batch.planned_start.date()
    (row,) = sheet(site=shop_site, day=day)["batches"]
    planned_end = row["latest_pour_at"]
    at = batch.planned_contact + timedelta(minutes=minutes)
    Batch.objects.filter(pk=batch.pk).update(status="mixing", contact_at=at)
    (row,) = sheet(site=shop_site, day=day)["batches"]
    assert row["latest_pour_at"] - planned_end == timedelta(minutes=minutes)
    assert row["latest_pour_at"] <= at + timedelta(minutes=batch.pot_life_min)
