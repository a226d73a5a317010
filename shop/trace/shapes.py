"""What the answers of a trace hold, for the description of the API."""

from shared.api.shapes import (
    DECIMAL,
    ID,
    MOMENT,
    TEXT,
    absent,
    by_name,
    maybe,
    obj,
    rows,
)  # fmt: skip
from shop.quantities import AMOUNT
from shop.waste.shapes import LINE

LOT = obj(id=ID, code=TEXT, material_code=TEXT)
PART = obj(casting=TEXT, label=TEXT, tool=maybe(ID), mass_kg=maybe(DECIMAL), quarantine=rows(TEXT))
TAKEN = obj(
    lot=ID,
    lot_code=TEXT,
    material_code=TEXT,
    kind=TEXT,
    counterpart=TEXT,
    quantity=AMOUNT,
    at=MOMENT,
    people=rows(TEXT),
    label=absent(TEXT),
    temperatures_c=absent(by_name(DECIMAL, "What was measured when it was used, in °C.")),
    castings=absent(rows(PART)),
)
OF_A_LOT = obj(
    "From a lot.",
    lot=ID,
    mixed_into=rows(LOT),
    mixed_from=rows(LOT),
    received=AMOUNT,
    taken=rows(TAKEN),
    lost=rows(TAKEN),
    waste=rows(LINE),
    tools=rows(obj(id=ID, code=TEXT, name=TEXT, status=TEXT)),
    left=rows(obj(container=ID, code=TEXT, location=maybe(TEXT), balance=AMOUNT)),
)
OF_A_TOOL = obj(
    "From a tool.",
    tool=ID,
    castings=rows(TEXT),
    taken=rows(TAKEN),
    lots=rows(LOT),
    waste=rows(LINE),
)
TRACE = {"oneOf": [OF_A_LOT, OF_A_TOOL]}
