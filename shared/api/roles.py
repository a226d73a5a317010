"""
Who may do what: the one table that code, documentation and tests read.

A scope is `<noun>:<read|write>`; writing does not include reading. A role is a set of scopes at
one site. Nouns name what an address is about; every view names one of them in `scope_noun`.
"""

from __future__ import annotations

NOUNS: dict[str, str] = {
    "sites": "sites, people and their hours, mixers, scales, benches, ovens, shelves",
    "availability": "absences, extra shifts, closed days, outages, expected temperatures",
    "materials": "materials, suppliers, packs, resin systems, release recipes",
    "lots": "lots and containers: holding, moving, splitting, labels",
    "releases": "letting a lot out of quarantine or hold, which is for who answers for the check",
    "shelf_life": "lengthening a lot's life: retests, and an expiry put right to a later day",
    "movements": "the stock ledger: receive, issue, adjust, reverse, count",
    "requirements": "dated needs, reservations and the stock outlook",
    "tools": "tools, halves, shots, inspections, retirement",
    "tool_orders": "tool orders and their pours",
    "routes": "templates of the steps a tool goes through",
    "steps": "steps of work of a pour, signed when done",
    "plans": "week plans",
    "batches": "batches and their sheets",
    "weighings": "weigh-ins and entries of a batch",
    "quarantines": "castings that must not be used until they are judged",
    "cures": "cure clocks, temperatures, demoulding",
    "reminders": "reminders and notices",
    "purchases": "purchase proposals, orders and confirmations",
    "approvals": "saying yes to purchase proposals and orders, which is for a person",
    "prices": "prices and costs",
    "events": "the feed of events",
    "webhooks": "addresses told of events",
    "trace": "from a tool to every lot, and back",
    "calculations": "calculators that store nothing",
    "accounts": "people who sign in, their roles and tokens",
    "audit": "who changed what",
}

SCOPES: frozenset[str] = frozenset(
    f"{noun}:{verb}" for noun in NOUNS for verb in ("read", "write")
)


PERSONAL: frozenset[str] = frozenset(
    {"releases:write", "shelf_life:write", "quarantines:write", "approvals:write"}
)
"""A person's judgement: an account with the role of an integration has none of these."""


def _scopes(read: str, write: str) -> frozenset[str]:
    """Return scopes from two lists of nouns; a noun that may be written may be read too."""
    reading, writing = read.split(), write.split()
    unknown = {*reading, *writing} - NOUNS.keys()
    if unknown:
        raise ValueError(f"No such noun: {', '.join(sorted(unknown))}.")
    return frozenset(
        [f"{noun}:read" for noun in (*reading, *writing)] + [f"{noun}:write" for noun in writing]
    )


_FLOOR = (
    "sites availability materials lots movements requirements tools tool_orders routes steps "
    "plans batches weighings quarantines cures reminders trace calculations"
)

ROLES: dict[str, frozenset[str]] = {
    "technician": _scopes(
        _FLOOR,
        "availability movements lots tools steps weighings cures batches reminders calculations",
    ),
    "planner": _scopes(
        _FLOOR + " purchases prices events",
        "availability tool_orders routes steps plans batches weighings cures movements lots "
        "releases requirements reminders tools calculations",
    ),
    "purchasing": _scopes(
        _FLOOR + " events",
        "purchases approvals prices materials movements lots releases requirements reminders "
        "calculations",
    ),
    "tool_keeper": _scopes(_FLOOR, "tools tool_orders steps cures reminders calculations"),
    "quality": _scopes(
        _FLOOR + " purchases events audit",
        "lots releases shelf_life tools quarantines cures reminders calculations",
    ),
    "administrator": SCOPES,
    "integration": _scopes(
        _FLOOR + " purchases prices events",
        "tool_orders purchases movements events webhooks calculations",
    ),
}
