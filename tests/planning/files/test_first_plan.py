"""From an empty shop to the first printed sheet: by one workbook, and by REST calls only."""

from dataclasses import dataclass
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client

from planning.batches.models import Batch
from planning.checklist.queries import checklist
from planning.files import actions
from planning.files.columns import Sheet
from planning.files.loading import load
from planning.files.sheets import SHEETS
from planning.files.tables import read_file
from planning.schedule import actions as schedule
from shared import clock
from shared.access.models import Site, User
from shop.materials.models import Material
from tests.callers import caller
from tests.planning.files.conftest import read

pytestmark = pytest.mark.django_db


def missing(site):
    return [item.title for item in checklist(site, clock.now()) if not item.done]


def plan_and_confirm(site, frozen):
    [batch] = _planned(site)
    page = Client()
    page.force_login(User.objects.get())
    day = clock.local(batch.planned_start, site).date()
    sheet = page.get(f"/sheets/{day}/").content.decode()
    assert batch.number in sheet
    assert "Resin X" in sheet
    return batch


def _planned(site):
    year, week, _ = clock.today(site).isocalendar()
    now = clock.now()
    asked = schedule.request_plan(site=site, week=f"{year}-W{week:02d}", now=now, seconds=1)
    plan = schedule.solve(plan_id=asked.pk, now=now)
    assert plan.state == "ready", plan.error
    schedule.confirm(plan=plan, now=now)
    return Batch.objects.all()


def nothing_of_the_demo():
    assert set(Material.objects.values_list("code", flat=True)) == {"RX", "HX", "WAX"}
    assert list(User.objects.values_list("username", flat=True)) == ["olga"]
    assert Site.objects.count() == 1


def test_by_one_workbook(own, frozen):
    site = own[1]
    assert "Order" in missing(site)
    data, _ = actions.sample_file(site=site, form="xlsx")
    read(own, data)
    site.refresh_from_db()
    assert missing(site) == []
    plan_and_confirm(site, frozen)
    nothing_of_the_demo()


@dataclass
class OverHttp:
    """What `Doors` does, over HTTP with a token, as any program could."""

    client: Any
    site: Site
    calls: int = 0

    def _good(self, answer):
        self.calls += 1
        assert answer.status_code < 300, answer.content
        return answer.json() if answer.content else {}

    def post(self, address, body):
        return self._good(self.client.post(f"/api/v1/{address}", body, format="json"))

    def patch(self, address, body):
        tag = self._good(self.client.get(f"/api/v1/{address}"))["etag"]
        path = f"/api/v1/{address}"
        return self._good(self.client.patch(path, body, format="json", etag=tag))

    def rows(self, address):
        return self._good(self.client.get(f"/api/v1/{address}"))["items"]

    def form(self, address):
        kinds = {"site"} if address not in ALL_SITES else set()
        return type("Form", (), {"fields": kinds})


ALL_SITES = {
    "sites", "suppliers", "supplier-closures", "materials", "packs", "resin-systems",
    "system-components", "release-recipes", "routes", "day-changes",
}  # fmt: skip


def test_by_rest_only(own, frozen):
    person, site = own
    data, _ = actions.sample_file(site=site, form="xlsx")
    client = caller(person.user, [site])
    calls = OverHttp(client, site)
    done = load(calls, read_file(data, "sample.xlsx"), trial=False)
    assert set(done.counts) <= {sheet.name for sheet in SHEETS if isinstance(sheet, Sheet)}
    assert calls.calls > 30
    assert missing(site) == []
    year, week, _ = clock.today(site).isocalendar()
    asked = client.post("/api/v1/plans", {"week": f"{year}-W{week:02d}", "seconds": "1"})
    assert asked.status_code == 201, asked.content
    plan = asked.json()["id"]
    schedule.solve(plan_id=int(plan), now=clock.now())  # what the worker does
    ready = client.get(f"/api/v1/plans/{plan}").json()
    assert (ready["state"], ready["violations"], ready["unplaced"]) == ("ready", [], [])
    frozen.shift(timedelta(seconds=5))
    assert client.post(f"/api/v1/plans/{plan}/confirmations").status_code == 201
    [batch] = client.get(f"/api/v1/batches?plan={plan}").json()["items"]
    day = clock.local(Batch.objects.get().planned_start, site).date()
    sheet = client.get(f"/api/v1/sheets/{day}")
    assert sheet.status_code == 200
    assert batch["number"] in sheet.content.decode()
    nothing_of_the_demo()
