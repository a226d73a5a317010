"""
Writers that commit early and late, and one reader of the feed; prints what the reader saw.

Run as a module on migrated, empty tables of PostgreSQL.
"""

import json
import random
import sys
import threading
import time

import django

django.setup()

from django.db import connection, transaction  # noqa: E402

from shared import clock  # noqa: E402
from shared.access.models import Site  # noqa: E402
from shared.events import actions, placing, queries  # noqa: E402
from shared.events.kinds import EventKind, ObjectKind  # noqa: E402
from shared.events.models import Event  # noqa: E402
from shared.retry import retried  # noqa: E402

WRITERS, EACH, OBJECTS = 6, 40, 7


def tell(site, pk):
    return actions.add(
        site=site,
        object_kind=ObjectKind.LOT,
        object_id=pk,
        kind=EventKind.LOT_HELD,
        at=clock.now(),
    )


def slow_and_fast(site):
    """Let one transaction write first and commit last, and read in between."""
    written, go_on, ids = threading.Event(), threading.Event(), {}

    def slow():
        with transaction.atomic():
            ids["slow"] = tell(site, "900").pk
            written.set()
            go_on.wait(10)
        connection.close()

    thread = threading.Thread(target=slow)
    thread.start()
    written.wait(10)
    with transaction.atomic():
        ids["fast"] = tell(site, "901").pk
    placing.place_waiting()
    first = queries.behind(after=0, site_ids=[site.pk], limit=10)
    go_on.set()
    thread.join()
    placing.place_waiting()
    second = queries.behind(after=first.after, site_ids=[site.pk], limit=10)
    seen = [[place.event_id for place in page.places] for page in (first, second)]
    return ids["slow"] < ids["fast"] and seen == [[ids["fast"]], [ids["slow"]]]


def main():
    site = Site.objects.create(code="M", name="Main", time_zone="UTC")
    good = slow_and_fast(site)
    done = threading.Event()
    read, after = [], queries.end_of_feed()

    def write(seed):
        dice = random.Random(seed)

        @retried
        def one():
            for _ in range(dice.choice((1, 1, 2))):
                tell(site, dice.randrange(OBJECTS))
                time.sleep(dice.choice((0, 0, 0.002, 0.02)))

        for _ in range(EACH):
            one()
        connection.close()

    def follow():
        nonlocal after
        while True:
            last = done.is_set()
            placing.place_waiting()
            page = queries.behind(after=after, site_ids=[site.pk], limit=20)
            read.extend(place.event for place in page.places)
            after = page.after
            if last and not page.more:
                break
        connection.close()

    readers = threading.Thread(target=follow)
    writers = [threading.Thread(target=write, args=(seed,)) for seed in range(WRITERS)]
    readers.start()
    for thread in writers:
        thread.start()
    for thread in writers:
        thread.join()
    done.set()
    readers.join()
    last, wrong = {}, 0
    for event in read:
        wrong += event.sequence != last.get(event.object_id, 0) + 1
        last[event.object_id] = event.sequence
    report = {
        "slow_is_last": good,
        "written": Event.objects.count() - 2,
        "read": len({event.pk for event in read}),
        "twice": len(read) - len({event.pk for event in read}),
        "out_of_order": wrong,
    }
    sys.stdout.write(json.dumps(report) + "\n")


if __name__ == "__main__":
    main()
