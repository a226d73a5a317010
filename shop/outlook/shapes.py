"""What the answers about the stock ahead hold, for the description of the API."""

from shared.api.shapes import (
    COUNT,
    DAY,
    DECIMAL,
    ID,
    MONTH,
    SITE,
    TEXT,
    absent,
    maybe,
    obj,
    one_of,
    rows,
    told,
)  # fmt: skip

AMOUNT = told(DECIMAL, "In the material's unit.")
FIGURES = dict.fromkeys(
    ("in_date", "receipts", "reserved", "planned", "expires_unused", "projected"), AMOUNT
)
SHORT = obj(pour=TEXT, day=DAY, short=AMOUNT, never_met=AMOUNT, made_good_on=maybe(DAY))
RESCUE = obj(
    pour=TEXT,
    planned_on=DAY,
    quantity=AMOUNT,
    share_pot_with=told(maybe(TEXT), "A pour that the same pot could serve."),
)
AT_RISK = obj(
    lot=told(TEXT, "Code of the lot."), usable_until=DAY, quantity=AMOUNT, could_use=rows(RESCUE)
)
ITEM = obj(
    material=ID,
    material_code=TEXT,
    name=TEXT,
    unit=TEXT,
    state=one_of("short", "expiring", "ok"),
    in_date=AMOUNT,
    not_released=AMOUNT,
    already_expired=AMOUNT,
    receipts=AMOUNT,
    wanted=AMOUNT,
    expires_unused=AMOUNT,
    first_short_on=maybe(DAY),
    last_order_on=told(maybe(DAY), "Ordered later, it arrives after it is short."),
    usual_supplier=maybe(TEXT),
    lead_days=maybe(COUNT),
    short_pours_count=COUNT,
    short_pours=rows(SHORT, "The first 20, or all where one material is asked for."),
    at_risk_count=COUNT,
    at_risk=rows(AT_RISK, "The first 5, or all where one material is asked for."),
    days=absent(rows(obj(day=DAY, short=AMOUNT, **FIGURES))),
)
OUTLOOK = obj(
    site=SITE,
    days=COUNT,
    counts=obj(short=COUNT, expiring=COUNT, ok=COUNT),
    items=rows(ITEM),
)
YEAR = obj(
    site=SITE,
    days=COUNT,
    items=rows(
        obj(
            material=ID,
            material_code=TEXT,
            unit=TEXT,
            months=rows(obj(month=MONTH, lowest=AMOUNT, **FIGURES)),
        )
    ),
)
