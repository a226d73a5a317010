"""What a foreman may decide about planning: read, check and keep, each with its explanation."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields
from decimal import Decimal
from typing import Any

from django.db import transaction
from django.db.models import F

from planning.core.plain import FormError, from_plain, to_plain
from planning.core.problem import Settings
from planning.rules.models import PlanningRules
from shared.errors import Invalid, ShopError


class Unchanged:
    """What is left as it is, where None is a value."""


UNCHANGED = Unchanged()
COLDEST_NIGHT_C, WARMEST_NIGHT_C = -20, 40


class RulesChanged(ShopError):
    """Rules that somebody else has changed meanwhile."""


@dataclass(frozen=True)
class Rule:
    """How one setting of `Settings` is shown to people."""

    label: str
    unit: str
    help: str
    choices: tuple[tuple[str, str], ...] = ()


RULES: dict[str, Rule] = {
    "pot_life_factor": Rule(
        "Share of the pot life used", "of 1", "The rest is margin for a slow hand or a warm pot."
    ),
    "allow_sharing": Rule(
        "One pot for several tools", "", "Small lifts of one system may be poured from one pot."
    ),
    "most_tools_per_batch": Rule(
        "Most tools from one pot", "tools", "Whatever a resin system allows, never more than this."
    ),
    "equal_batches": Rule(
        "Equal batches",
        "",
        "A lift larger than a pot is split into equal batches instead of full ones and a rest.",
    ),
    "extra_lifts": Rule(
        "Extra lifts", "lifts", "More lifts than the fewest make a cooler casting and more work."
    ),
    "least_lift_mm": Rule(
        "Thinnest lift", "mm", "No lift is planned thinner, unless the whole pour is."
    ),
    "overdue_lift": Rule(
        "Past the recoat window",
        "",
        "What to do when the next lift cannot follow while the one below still bonds.",
        (("abrade", "abrade and clean, then pour"), ("forbid", "never plan it")),
    ),
    "last_pour_clock_min": Rule(
        "No pour after", "minutes past midnight", "Empty: any hour at which somebody is in."
    ),
    "coat_to_pour_most_min": Rule(
        "Longest from the last coat to the pour", "min", "Empty: what the release recipe says."
    ),
    "lot_rule": Rule(
        "Which lots",
        "",
        "When one lot pair for a casting and first expired first out differ, which wins.",
        (("one_pair", "one lot pair per casting"), ("first_expired", "first expired first out")),
    ),
    "late_minutes_per_pot": Rule(
        "Late minutes one pot is worth",
        "min",
        "Empty: being in time always comes before saving a pot.",
    ),
    "move_price": Rule(
        "Price of moving a portion",
        "pots",
        "How hard a new plan holds on to the one before. A step counts a quarter of a portion.",
    ),
    "late_minutes_per_move": Rule(
        "Late minutes a move is worth",
        "min",
        "A portion of the plan before is moved only to save at least so many late minutes.",
    ),
}
"""Every setting but `freeze_until_min`, which follows from the freeze hours and the clock."""


def rules_of(site_id: int) -> PlanningRules:
    """Return a site's rules, the usual ones where nothing is kept yet."""
    found = PlanningRules.objects.filter(site_id=site_id).first()
    return found or PlanningRules(site_id=site_id)


def settings_of(rules: PlanningRules) -> Settings:
    """Return the planner's settings from a site's rules."""
    return from_plain(Settings, rules.values)


def ensure(site_ids: Iterable[int]) -> None:
    """Give sites without rules the usual ones, so that there is something to read and change."""
    have = set(PlanningRules.objects.filter(site__in=site_ids).values_list("site_id", flat=True))
    PlanningRules.objects.bulk_create(
        [PlanningRules(site_id=one) for one in sorted(set(site_ids) - have)], ignore_conflicts=True
    )


@transaction.atomic
def keep_rules(
    *,
    site_id: int,
    values: Mapping[str, Any],
    freeze_hours: Decimal | None = None,
    own_times: bool | None = None,
    night_c: Decimal | Unchanged | None = UNCHANGED,
    seen: int | None = None,
    where: str = "",
) -> PlanningRules:
    """
    Keep a foreman's decisions; a value that makes no sense is refused and nothing changes.

    Parameters
    ----------
    seen : int, optional
        The version the decisions were made on; another one now is refused.
    where : str
        What stands before a rule's name in the pointer of a refusal.
    """
    unknown = sorted(set(values) - set(RULES))
    if unknown:
        raise Invalid.one(
            f"{where}{unknown[0]}",
            "unknown",
            f"{unknown[0]} is no setting; known: {', '.join(RULES)}.",
        )
    ensure([site_id])
    rules = PlanningRules.objects.select_for_update().get(site_id=site_id)
    if seen is not None and seen != rules.version:
        raise RulesChanged(
            "Somebody else has changed the rules since this page was loaded; nothing was kept. "
            "Look at them again and make your change anew.",
            code="stale",
        )
    together = {**rules.values, **values}
    try:
        settings = from_plain(Settings, together)
    except (FormError, ValueError) as error:
        words = str(error).removeprefix("document: ")
        name = next((one for one in RULES if words.startswith(one)), "values")
        raise Invalid.one(f"{where}{name}", "bad_setting", words) from error
    usual = Settings()
    changed = {
        field.name: getattr(settings, field.name)
        for field in fields(Settings)
        if getattr(settings, field.name) != getattr(usual, field.name)
    }
    if freeze_hours is not None:
        if not 0 <= freeze_hours <= 336:
            raise Invalid.one(
                "freeze_hours",
                "out_of_range",
                f"freeze_hours is {freeze_hours} h; it must be 0 to 336 h.",
                value=freeze_hours,
                limit="0 to 336",
                unit="h",
            )
        rules.freeze_hours = freeze_hours
    if own_times is not None:
        rules.own_times = own_times
    if not isinstance(night_c, Unchanged):
        rules.night_c = _sensible_night_c(night_c)
    rules.values = to_plain(changed)
    rules.version = F("version") + 1
    rules.save()
    rules.refresh_from_db()
    return rules


def _sensible_night_c(night_c: Decimal | None) -> Decimal | None:
    if night_c is not None and not COLDEST_NIGHT_C <= night_c <= WARMEST_NIGHT_C:
        raise Invalid.one(
            "night_c",
            "out_of_range",
            f"Coldest at night is {night_c} °C; it must be {COLDEST_NIGHT_C} to "
            f"{WARMEST_NIGHT_C} °C.",
            value=night_c,
            limit=f"{COLDEST_NIGHT_C} to {WARMEST_NIGHT_C}",
            unit="°C",
        )
    return night_c
