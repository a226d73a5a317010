"""Random documents, each with only what its kind has a place for."""

from datetime import date
from decimal import Decimal

from hypothesis import strategies as st

from shared.ubl.codes import CURRENCIES, NAMES
from shared.ubl.document import HEADS, LINES, Document, Form, Kind, Line, Money, Quantity

OF_SHIPMENT = {"packages", "tracking", "deliver_to", "arrives_on", "carrier"}
LETTERS = st.characters(codec="utf-8", exclude_categories=("Cc", "Cs", "Cn", "Zs", "Zl", "Zp"),
                        exclude_characters="\ufffe\uffff")  # fmt: skip
WORDS = st.lists(st.text(LETTERS, min_size=1, max_size=8), min_size=1, max_size=3).map(" ".join)
FIGURES = st.decimals(-99999, 99999, places=4, allow_nan=False, allow_infinity=False)
DAYS = st.dates(date(2000, 1, 1), date(2199, 12, 31))


def value_of(part):
    """Return the values that a part may have, in their plainest form."""
    words = WORDS.map(lambda text: text[: part.most].strip())
    figures = FIGURES.map(lambda value: Decimal(f"{value.normalize():f}"))
    return {
        Form.TEXT: words,
        Form.LINES: st.lists(words, min_size=1, max_size=4).map("\n".join),
        Form.DAY: DAYS,
        Form.QUANTITY: st.builds(Quantity, figures, st.sampled_from(sorted(NAMES))),
        Form.NUMBER: figures,
        Form.MONEY: st.builds(Money, figures, st.sampled_from(sorted(CURRENCIES))),
        Form.CURRENCY: st.sampled_from(sorted(CURRENCIES)),
        Form.GTIN: st.text("0123456789", min_size=8, max_size=14),
        Form.PROPERTIES: st.dictionaries(words, words, min_size=1, max_size=3).map(
            lambda found: tuple(found.items())
        ),
    }[part.form]


def of_parts(parts):
    named = [part for part in parts if part.form != Form.THERE]
    return st.fixed_dictionaries(
        {part.name: value_of(part) for part in named if part.needed},
        optional={part.name: value_of(part) for part in named if not part.needed},
    )


def documents():
    """Return documents of every kind."""

    @st.composite
    def one(draw):
        kind = draw(st.sampled_from(Kind))
        head = draw(of_parts(HEADS[kind]))
        if kind == Kind.DESPATCH_ADVICE and set(head) & OF_SHIPMENT:
            head.setdefault("shipment", "1")
        lines = draw(st.lists(of_parts(LINES[kind]), min_size=1, max_size=3))
        rows = []
        for n, line in enumerate(lines, 1):
            if "price_per" in line and "price" not in line:
                del line["price_per"]  # the schema has no base without an amount
            if "order_id" in line and "order_line" not in line:
                del line["order_id"]  # nor an order of a line without the line
            rows.append(Line(**{**line, "id": str(n)}))
        return Document(kind=kind, **head, lines=tuple(rows))

    return one()
