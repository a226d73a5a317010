"""What the answers about costs and losses hold, for the description of the API."""

from shared.api.shapes import (
    DECIMAL,
    MONTH,
    SITE,
    TEXT,
    by_name,
    maybe,
    obj,
    rows,
    told,
)  # fmt: skip

MONEY = by_name(DECIMAL, "Sums by currency (ISO 4217); they are never added across currencies.")
CURRENCY = told(TEXT, "ISO 4217; empty where there is no price.")
AMOUNT = told(DECIMAL, "In the material's unit.")
CASTING_COSTS = obj(
    site=SITE,
    month=MONTH,
    items=rows(
        obj(
            casting=told(TEXT, "What the work refers to it by."),
            label=TEXT,
            totals=MONEY,
            unpriced_lots=rows(TEXT, "Codes of lots that have no price."),
            lines=rows(
                obj(
                    lot=told(TEXT, "Code of the lot."),
                    material_code=TEXT,
                    quantity=AMOUNT,
                    cost=maybe(DECIMAL),
                    currency=CURRENCY,
                )
            ),
        )
    ),
)
LOSSES = obj(
    site=SITE,
    items=rows(obj(month=MONTH, material_code=TEXT, reason=TEXT, quantity=AMOUNT, cost=MONEY)),
    will_expire_unused=rows(obj(month=MONTH, material_code=TEXT, quantity=AMOUNT, unit=TEXT)),
    out_of_date_now=rows(
        obj(
            material_code=TEXT,
            quantity=AMOUNT,
            unit=TEXT,
            cost=maybe(DECIMAL),
            currency=CURRENCY,
        )
    ),
)
