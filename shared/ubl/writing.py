"""A document as XML; what the reader reads of it is the same document again."""

from __future__ import annotations

import re
from decimal import Decimal
from typing import Any

from shared.ubl.codes import CURRENCIES, NAMES
from shared.ubl.document import (
    GTIN,
    HEADS,
    LINE_PATHS,
    LINES,
    NAMESPACE,
    SPACES,
    VERSION,
    Document,
    Form,
    Money,
    Part,
    Quantity,
)

_NO_XML = re.compile("[^\t\n\r -\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
"""Characters that XML 1.0 has no place for (section 2.2)."""


def write(document: Document) -> bytes:
    """
    Return a document as UTF-8 XML.

    Raises
    ------
    ValueError
        A unit or currency that is in no list, or no line: such a document is a slip of the code.
    """
    from lxml import etree

    if not document.lines:
        raise ValueError(f"{document.kind} {document.id} has no line.")
    own = f"{NAMESPACE}{document.kind}-2"
    spaces: dict[str | None, str] = {None: own}
    spaces.update(SPACES)
    root = etree.Element(f"{{{own}}}{document.kind}", nsmap=spaces)
    _add(root, "cbc:UBLVersionID").text = VERSION
    for part in HEADS[document.kind]:
        _write(root, part, document)
    for line in document.lines:
        holder = root
        for name in LINE_PATHS[document.kind].split("/"):
            holder = _add(holder, name)
        for part in LINES[document.kind]:
            _write(holder, part, line)
    found: bytes = etree.tostring(root, xml_declaration=True, encoding="UTF-8", pretty_print=True)
    return found


def _write(holder: Any, part: Part, of: Any) -> None:
    if part.form == Form.THERE:
        _reach(holder, part.path)
        return
    value = getattr(of, part.name)
    if value in ("", None, ()):
        return
    *above, last = part.path.split("/")
    if part.form == Form.LINES:
        # An address has an element for each line, which holds its text; a note is just repeated.
        each = [above.pop()] if above[-1:] == ["cac:AddressLine"] else []
        parent = _reach(holder, "/".join(above))
        for text in filter(None, map(plain, value.splitlines())):
            _add(_add(parent, each[0]) if each else parent, last).text = text
        return
    parent = _reach(holder, "/".join(above))
    if part.form == Form.PROPERTIES:
        for name, text in value:
            one = _add(parent, last)
            _add(one, "cbc:Name").text = plain(name)
            _add(one, "cbc:Value").text = plain(text)
    else:
        _fill(_add(parent, last), part, value)


def _fill(element: Any, part: Part, value: Any) -> None:
    if isinstance(value, Quantity):
        if value.unit not in NAMES:
            raise ValueError(f"{value.unit!r} is not a unit code that is known here.")
        element.set("unitCode", value.unit)
        element.text = figure(value.value)
    elif isinstance(value, Money):
        if value.currency not in CURRENCIES:
            raise ValueError(f"{value.currency!r} is not a currency of ISO 4217.")
        element.set("currencyID", value.currency)
        element.text = figure(value.value)
    elif isinstance(value, Decimal):
        element.text = figure(value)
    elif part.form == Form.DAY:
        element.text = value.isoformat()
    else:
        if part.form == Form.GTIN:
            element.set("schemeID", GTIN)
        element.text = plain(value)


def figure(value: Decimal) -> str:
    """Return a number written out, without an exponent or needless zeros."""
    text = f"{value:f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def plain(text: str) -> str:
    """Return a text on one line, without what XML cannot hold."""
    return " ".join(_NO_XML.sub("", text).split())


def _reach(holder: Any, path: str) -> Any:
    """Return the element of a path, the last of each name, making what is not there."""
    for name in path.split("/") if path else ():
        tag = _tag(name)
        last = holder[-1] if len(holder) and holder[-1].tag == tag else None
        holder = _add(holder, name) if last is None else last
    return holder


def _add(holder: Any, name: str) -> Any:
    from lxml import etree

    return etree.SubElement(holder, _tag(name))


def _tag(name: str) -> str:
    prefix, _, local = name.partition(":")
    return f"{{{SPACES[prefix]}}}{local}"
