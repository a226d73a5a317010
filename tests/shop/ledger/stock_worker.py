"""
One busy writer of the ledger, run as a process of its own by the load test.

It draws receipts and issues from its seed and writes down, after each call has returned, what the
stores answered. Started again with the same seed it asks for the same movements under the same
keys, as a caller does that never got an answer.
"""

from __future__ import annotations

import random
import sys
from decimal import Decimal
from pathlib import Path


def work(name: str, calls: int, log_path: str) -> None:
    """Make `calls` calls and log each answer as a line: key, answer, quantity."""
    from shop.errors import NotEnoughStock
    from shop.ledger import actions
    from shop.lots.models import Container
    from tests.factories.shop import NOW

    containers = list(Container.objects.order_by("pk").values_list("pk", flat=True))
    draw = random.Random(name)
    with Path(log_path).open("a", encoding="ascii", buffering=1) as log:
        for n in range(calls):
            verb = actions.receive if draw.random() < 0.4 else actions.issue
            call = {
                "container_id": draw.choice(containers),
                "quantity": Decimal(draw.randint(1, 30_000)) / 10_000,
                "key": f"{name}:{n}",
                "counterpart": f"batch:{n % 7}",
                "happened_at": NOW,
            }
            times = 2 if draw.random() < 0.1 else 1
            for _ in range(times):
                try:
                    posted = verb(**call)
                except NotEnoughStock:
                    log.write(f"{call['key']} refused 0\n")
                else:
                    log.write(f"{call['key']} done {posted.quantity}\n")


if __name__ == "__main__":
    import django

    django.setup()
    work(sys.argv[1], int(sys.argv[2]), sys.argv[3])
