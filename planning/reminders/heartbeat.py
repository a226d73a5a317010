"""Whether a sweeper goes round, for whoever watches the service from outside."""

from __future__ import annotations

from planning.reminders.queries import sweeper_health
from planning.reminders.sweep import database_now
from shared import clock


def is_alive() -> bool:
    """Tell whether a sweeper has been through lately and no clock is far off."""
    return sweeper_health(database_now(clock.now())).well
