"""
A document read from XML that a stranger sent.

Nothing outside the bytes is ever looked at: a document type, and with it every entity, is
refused before the bytes reach a parser, and the parser has its own locks besides.
"""

from __future__ import annotations

import re
from datetime import date
from decimal import Decimal
from typing import Any

from shared.errors import FieldProblem, Invalid
from shared.ubl.codes import CURRENCIES, NAMES
from shared.ubl.document import (
    GTIN,
    HEADS,
    LINE_PATHS,
    LINES,
    NAMESPACE,
    SPACES,
    Document,
    Form,
    Kind,
    Line,
    Money,
    Part,
    Quantity,
)

MOST_BYTES = 1_000_000
MOST_LINES = 500
MOST_PROBLEMS = 50
MOST_PROPERTIES = 60
_DECLARED = re.compile(rb"^<\?xml[^>]*?encoding\s*=\s*[\"']([A-Za-z0-9._-]+)")
_NUMBER = re.compile(r"-?[0-9]{1,15}(\.[0-9]{1,8})?")
_DAY = re.compile(r"([0-9]{4}-[0-9]{2}-[0-9]{2})(Z|[+-][0-9]{2}:[0-9]{2})?")


def parse(raw: bytes) -> Any:
    """
    Return the root element of a text in XML.

    Raises
    ------
    Invalid
        Too long, not UTF-8, with a document type, or not XML.
    """
    from lxml import etree

    if len(raw) > MOST_BYTES:
        raise _bad(
            "too_large",
            f"The document has {len(raw):,} bytes or more; at most {MOST_BYTES:,} are read.",
        )
    declared = _DECLARED.match(raw.removeprefix(b"\xef\xbb\xbf"))
    encoding = declared[1].decode("ascii").lower() if declared else "utf-8"
    if encoding not in ("utf-8", "utf8", "us-ascii"):
        raise _bad("not_utf_8", f"The document says it is in {encoding}; send UTF-8.")
    try:
        raw.decode("utf-8")
    except UnicodeDecodeError as error:
        raise _bad("not_utf_8", f"Byte {error.start} is not UTF-8; send UTF-8.") from None
    # In UTF-8 these letters can be written in no other way.
    if b"<!DOCTYPE" in raw or b"<!ENTITY" in raw:
        raise _bad(
            "document_type",
            "The document holds a document type or an entity; send it without.",
        )
    parser = etree.XMLParser(
        resolve_entities=False, no_network=True, load_dtd=False, dtd_validation=False,
        huge_tree=False, remove_comments=True, remove_pis=True,
    )  # fmt: skip
    try:
        root = etree.fromstring(raw, parser)
    except etree.XMLSyntaxError as error:
        line, column = error.position
        raise _bad(
            "not_xml", f"The document is not XML: line {line}, column {column}: {error.msg}."
        ) from None
    if root.getroottree().docinfo.internalDTD is not None:
        raise _bad("document_type", "The document holds a document type; send it without.")
    return root


def kind_of(root: Any, *wanted: Kind) -> Kind:
    """Return which document a root element is; refuse others than those wanted."""
    accepted = wanted or tuple(Kind)
    for kind in accepted:
        if root.tag == f"{{{NAMESPACE}{kind}-2}}{kind}":
            return kind
    names = " or ".join(accepted)
    raise _bad(
        "not_the_document", f"The document is {root.tag[:120]}; this takes UBL 2.1 {names}."
    )


def read(root: Any, *wanted: Kind) -> Document:
    """
    Return the document of a root element.

    Elements that nothing here is done with are passed over.

    Raises
    ------
    Invalid
        With every part that is missing or not valid, by the path of its element.
    """
    kind = kind_of(root, *wanted)
    reader = _Reader(f"/{kind}")
    head = reader.parts(root, HEADS[kind], "")
    lines = []
    first, *inner = LINE_PATHS[kind].split("/")
    rows = root.findall(first, SPACES)
    if not rows and kind != Kind.ORDER_RESPONSE:
        reader.refuse(f"/{first}", "required", "has no line; give at least one.", None)
    if len(rows) > MOST_LINES:
        words = f"stands {len(rows)} times; at most {MOST_LINES} lines are read."
        reader.refuse(f"/{first}", "too_many", words, None)
        rows = []
    for n, row in enumerate(rows, 1):
        place = f"/{first}[{n}]"
        element = row
        for name in inner:
            element = None if element is None else element.find(name, SPACES)
            place += f"/{name}"
        if element is None:
            reader.refuse(place, "required", "is missing.", None)
            continue
        lines.append(reader.parts(element, LINES[kind], place))
    ids = [line.get("id") for line in lines]
    for n, one in enumerate(ids):
        if one is not None and one in ids[:n]:
            place = f"/{first}[{n + 1}]{''.join(f'/{name}' for name in inner)}/cbc:ID"
            reader.refuse(place, "repeated", "stands on two lines; number each once.", one)
    reader.raise_problems()
    return Document(kind=kind, **head, lines=tuple(Line(**line) for line in lines))


class _Reader:
    def __init__(self, root: str) -> None:
        self.root = root
        self.problems: list[FieldProblem] = []

    def refuse(self, place: str, code: str, words: str, value: str | None) -> None:
        path = self.root + place
        said = path if value is None else f"{path} is {value[:80]!r}; it"
        shown = None if value is None else value[:80]
        self.problems.append(FieldProblem(path, code, f"{said} {words}", shown))

    def raise_problems(self) -> None:
        if self.problems:
            found = tuple(self.problems[:MOST_PROBLEMS])
            raise Invalid(" ".join(one.detail for one in found[:5]), found)

    def parts(self, holder: Any, parts: tuple[Part, ...], place: str) -> dict[str, Any]:
        found: dict[str, Any] = {}
        for part in parts:
            if part.form == Form.THERE:
                continue
            value = self.part(holder, part, part.path, place)
            if value in (None, "", ()) and part.also:
                value = self.part(holder, part, part.also, place)
            if value in (None, "", ()):
                here = f"{place}/{part.path}"
                missing = not any(one.pointer == self.root + here for one in self.problems)
                if part.needed and missing:
                    self.refuse(here, "required", "is missing or empty.", None)
            else:
                found[part.name] = value
        return found

    def part(self, holder: Any, part: Part, path: str, place: str) -> Any:
        elements = holder.findall(path, SPACES)
        here = f"{place}/{path}"
        if not elements:
            return None
        if part.form == Form.PROPERTIES:
            return self.properties(elements, here)
        if part.form == Form.LINES:
            texts = [" ".join((one.text or "").split()) for one in elements]
            return self.short("\n".join(filter(None, texts)), part, here)
        if len(elements) > 1:
            self.refuse(here, "repeated",
                        f"stands {len(elements)} times; it is read once.", None)  # fmt: skip
            return None
        (element,) = elements
        if len(element):
            self.refuse(here, "invalid", "holds elements; it must hold a text.", None)
            return None
        text = " ".join((element.text or "").split())
        return self.value(element, text, part, here)

    def value(self, element: Any, text: str, part: Part, here: str) -> Any:
        form = part.form
        if form == Form.DAY:
            return self.day(text, here)
        if form in (Form.QUANTITY, Form.MONEY, Form.NUMBER):
            return self.figure(element, text, form, here)
        if form == Form.CURRENCY and text not in CURRENCIES:
            self.refuse(here, "unknown_currency", "must be a code of ISO 4217, such as EUR.", text)
            return None
        if form == Form.GTIN and element.get("schemeID", GTIN) not in (GTIN, "GTIN"):
            return None  # an identifier of another scheme is not a GTIN
        return self.short(text, part, here)

    def short(self, text: str, part: Part, here: str) -> str | None:
        if len(text) > part.most:
            words = f"has {len(text)} characters; at most {part.most} are read."
            self.refuse(here, "too_long", words, text)
            return None
        return text

    def day(self, text: str, here: str) -> date | None:
        found = _DAY.fullmatch(text)
        try:
            if found:
                return date.fromisoformat(found[1])
        except ValueError:
            pass  # such as 30 February
        self.refuse(here, "not_a_day", "must be a day such as 2026-11-30.", text)
        return None

    def figure(self, element: Any, text: str, form: Form, here: str) -> Any:
        if not _NUMBER.fullmatch(text):
            self.refuse(here, "not_decimal", "must be a number written out, such as 12.500.", text)
            return None
        value = Decimal(text)
        if form == Form.NUMBER:
            return value
        name, known, advice = (
            ("unitCode", NAMES, "a code of UN/ECE Recommendation 20 such as KGM, LTR or H87")
            if form == Form.QUANTITY
            else ("currencyID", CURRENCIES, "a code of ISO 4217 such as EUR")
        )
        code = element.get(name)
        if code not in known:
            words = f"must be {advice}."
            self.refuse(f"{here}/@{name}", f"unknown_{name[:-4 if form == Form.QUANTITY else -2]}",
                        words, code or "")  # fmt: skip
            return None
        return Quantity(value, code) if form == Form.QUANTITY else Money(value, code)

    def properties(self, elements: list[Any], here: str) -> tuple[tuple[str, str], ...]:
        if len(elements) > MOST_PROPERTIES:
            words = f"stands {len(elements)} times; at most {MOST_PROPERTIES} are read."
            self.refuse(here, "too_many", words, None)
            return ()
        found: dict[str, str] = {}
        for n, one in enumerate(elements, 1):
            name, text = (
                " ".join((one.findtext(f"cbc:{tag}", "", SPACES)).split())
                for tag in ("Name", "Value")
            )
            if not name or name in found:
                self.refuse(f"{here}[{n}]/cbc:Name", "repeated" if name else "required",
                            "must be there, and stand once.", name)  # fmt: skip
            elif max(len(name), len(text)) > Part("", "").most:
                self.refuse(f"{here}[{n}]", "too_long", "has more than 400 characters.", name)
            else:
                found[name] = text
        return tuple(found.items())


def _bad(code: str, words: str) -> Invalid:
    return Invalid.one("#", code, words)
