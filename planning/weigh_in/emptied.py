"""Writes: a can that is said to be empty, and one that was not, or not yet."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from planning.batches.models import BatchEntry, Weighing
from shop import stores
from shop.stores_types import ContainerInfo


def put_to_nothing(entry: BatchEntry, can: ContainerInfo) -> None:
    """
    Bring the stock record of an empty can to nothing, so that no plan counts on it.

    Somebody has looked into it: that is a count. What the record still held is in the entry.
    """
    held = stores.count_empty(
        container_id=can.id,
        key=entry.key,
        happened_at=entry.at,
        by=entry.by,
        reason=f"found empty at batch {entry.batch.number}",
    )
    entry.facts |= {"can": can.code, "written_off_kg": f"{held.normalize():f}"}


@contextmanager
def as_it_was_then(weighing: Weighing) -> Iterator[None]:
    """
    Let something be issued from a can that was said to be empty.

    Its record is given back first. What was weighed before the can was seen empty, and told
    after, leaves it empty again.
    """
    found = stores.not_empty_after_all(
        container_id=weighing.container_id,
        quantity=weighing.weighed_kg,
        now=weighing.recorded_at,
        by=weighing.by,
    )
    yield
    if found is not None and weighing.at <= found.at:
        stores.count_empty(
            container_id=weighing.container_id,
            key=weighing.key,
            happened_at=found.at,
            by=weighing.by,
            reason="found empty after this weighing",
        )
