"""What the record of waste answers, for the description of the API."""

from shared.api.shapes import (
    COUNT,
    DECIMAL,
    ID,
    MOMENT,
    MONTH,
    SITE,
    TEXT,
    maybe,
    obj,
    one_of,
    rows,
    told,
)  # fmt: skip
from shop.waste.queries import KINDS

KIND = one_of(*KINDS)
MASS = told(maybe(DECIMAL), "In kg; null where a density that it needs is not known.")
LINE = obj(
    at=MOMENT,
    kind=KIND,
    kind_words=TEXT,
    mass_kg=MASS,
    lot=maybe(ID),
    lot_code=maybe(TEXT),
    material_code=maybe(TEXT),
    hazards=told(TEXT, "Hazard statements of the lot's material."),
    counterpart=TEXT,
    words=TEXT,
    by=TEXT,
    entry=maybe(ID),
)
RECORD = obj(
    site=SITE,
    month=MONTH,
    totals=rows(obj(kind=KIND, mass_kg=DECIMAL, lines=COUNT, lines_of_unknown_mass=COUNT)),
    items=rows(LINE),
)
