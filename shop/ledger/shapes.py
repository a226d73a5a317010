"""What stock and a scan answer, for the description of the API."""

from shared.api.shapes import (
    COUNT,
    DAY,
    ID,
    MOMENT,
    SITE,
    TEXT,
    maybe,
    obj,
    rows,
    told,
)  # fmt: skip
from shop.quantities import AMOUNT

LEVELS = obj(
    "Stock now, by material.",
    site=SITE,
    items=rows(
        obj(
            material=ID,
            material_code=TEXT,
            total=AMOUNT,
            usable=AMOUNT,
            reserved=AMOUNT,
            free=AMOUNT,
            blocked=AMOUNT,
            expired=AMOUNT,
            soon=AMOUNT,
        )
    ),
)
BALANCES = obj(
    "Stock at a past moment, by container.",
    site=SITE,
    at=MOMENT,
    items=rows(obj(container=ID, code=TEXT, lot=ID, balance=AMOUNT)),
)
STOCK = {"oneOf": [LEVELS, BALANCES]}
SCAN = obj(
    material=maybe(ID),
    supplier=maybe(ID),
    lot_code=maybe(TEXT),
    made_on=maybe(DAY),
    expires_on=told(maybe(DAY), "Good to the end of that day."),
    quantity=maybe(AMOUNT),
    count=told(maybe(COUNT), "Pieces."),
    warnings=rows(TEXT),
)
