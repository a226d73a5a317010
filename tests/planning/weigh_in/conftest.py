"""A technician at a pot: the time of its plan, and a phone that posts as the batch page does."""

from datetime import timedelta

import pytest
import time_machine

from tests.conftest import make_user
from tests.factories.floor import sign_off


@pytest.fixture
def clock(batch):
    with time_machine.travel(batch.planned_start, tick=False) as traveller:
        yield traveller


@pytest.fixture
def phone(batch, client, clock):
    """A technician's browser that posts to the API as the batch page does."""
    user = make_user("technician", batch.site)
    client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")

    class Phone:
        def post(self, kind, body, key, batch=batch):
            return client.post(
                f"/api/v1/batches/{batch.pk}/{kind}",
                body,
                content_type="application/json",
                headers={"Idempotency-Key": f"{key}-{'0' * 16}"},
            )

        def weigh(self, role, batch=batch):
            line = batch.lines.get(role=role)
            body = {"line": str(line.pk), "weighed_kg": str(line.target_kg)}
            assert self.post("weighings", body, f"w{batch.pk}-{role}", batch).status_code == 201

        def enter(self, kind, at=None, key=None, batch=batch, **body):
            at = at or batch.planned_contact
            body = {"kind": kind, "at": at.isoformat(), **body}
            clock.move_to(at)
            if kind == "contact":
                sign_off(batch)
            return self.post("entries", body, key or f"entry-{kind}", batch)

        def pour(self, batch=batch, later=timedelta(0)):
            self.weigh("resin", batch)
            self.weigh("hardener", batch)
            at = batch.planned_contact + later
            began = self.enter("contact", at, batch=batch, key=f"c{batch.pk}")
            assert began.status_code == 201, began.content
            at = batch.planned_pour_end + later
            assert self.enter("poured", at, batch=batch, key=f"p{batch.pk}").status_code == 201

        page = client

    return Phone()
