"""What a plan's content and its comparison hold, for the description of the API."""

from shared.api.shapes import (
    COUNT,
    MOMENT,
    NUMBER,
    TEXT,
    WHOLE,
    YES_NO,
    maybe,
    obj,
    one_of,
    rows,
    told,
)  # fmt: skip

OWN_FORM = {"type": "object", "additionalProperties": True}
CONTENT = obj(
    problem=told(
        maybe(OWN_FORM),
        "What was to be planned, in the planner's own form. It goes with the version of the "
        "service: keep it to look into a plan, and build nothing on its members.",
    ),
    plan=told(maybe(OWN_FORM), "What came of it, in the same form; null until it is ready."),
)
COMPARISON = obj(
    figures=rows(
        obj(
            label=TEXT,
            kind=one_of("count", "minutes", "mass"),
            old=maybe(NUMBER),
            new=NUMBER,
        ),
        "Figures of both plans; a mass in kg. `old` is null where none was confirmed.",
    ),
    pours=rows(
        obj(
            id=TEXT,
            name=TEXT,
            known=told(YES_NO, "Whether the plan before knew it."),
            was=told(maybe(MOMENT), "When it was done by the plan before."),
            now=told(maybe(MOMENT), "When it is done by this plan; null where it fits nowhere."),
            lifts_was=maybe(COUNT),
            lifts_now=COUNT,
            later_min=told(maybe(WHOLE), "In min; below 0 where it is sooner."),
            due=MOMENT,
            is_late=YES_NO,
            reason=TEXT,
        )
    ),
    gone=rows(TEXT, "Pours that only the plan before knew, by name."),
    moves=rows(obj(what=TEXT, was=maybe(MOMENT), now=maybe(MOMENT), reason=TEXT)),
    numbers_gone=rows(TEXT, "Numbers of batches that this plan does not go on with."),
    seen=told(TEXT, "Hand it back in `seen` to confirm this very comparison."),
)
