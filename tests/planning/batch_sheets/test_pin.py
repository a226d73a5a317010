"""Pinning a batch is a change like any other: its version rises and the audit names it."""

import pytest

from planning.batches.models import Batch
from shared.access.models import User
from shared.audit.models import AuditEntry

pytestmark = pytest.mark.django_db


def test_pinning_over_the_api_leaves_an_entry(take, planned, client):
    planned(take())
    batch = Batch.objects.get()
    client.force_login(User.objects.get(username="petra"))
    answer = client.patch(
        f"/api/v1/batches/{batch.pk}",
        {"pinned": True},
        content_type="application/json",
        headers={"If-Match": f'"{batch.pk}-{batch.version}"'},
    )
    assert answer.status_code == 200, answer.content
    after = Batch.objects.get()
    assert after.pinned
    assert after.version == batch.version + 1
    entry = AuditEntry.objects.get(kind="planning.batch", object_id=batch.pk)
    assert entry.after == {"pinned": True}
    assert entry.before == {"pinned": False}
