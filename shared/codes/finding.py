"""
What a scanned or typed code names: the one answer for every place that asks for a thing.

Each app says at its start which kinds of things it has (`register`). A code is the thing's own
one, its short code, the address on the shop's own label under whatever host it was printed, or
what a supplier's GS1 label says.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from typing import Any

from shared.access.models import Site
from shared.codes.short import WrongCheck, path_of, read_path, read_short, short_code
from shared.errors import Invalid

LONGEST = 400
MOST_NAMED = 5
"""So many of several things of one code are named in a refusal."""


@dataclass(frozen=True)
class Found:
    """A thing that a code names; `words` say what it is, `address` is its page."""

    kind: str
    pk: int
    code: str
    words: str
    address: str


@dataclass(frozen=True)
class Kind:
    """
    A kind of thing that carries codes.

    Attributes
    ----------
    name, letter, scope
        `can`, `C` and the scope that its page asks for.
    by_number : callable
        Site and number to what it is, or None.
    by_text : callable
        Site and text to all that carry it as their own code.
    path : str
        Pattern of the address of its page with the number as group, for labels of earlier days.
    by_label : callable, optional
        Site and text to all that a supplier's label means.
    """

    name: str
    letter: str
    scope: str
    by_number: Callable[[Site, int], Found | None]
    by_text: Callable[[Site, str], Sequence[Found]]
    path: str
    by_label: Callable[[Site, str], Sequence[Found]] | None = None


_kinds: dict[str, Kind] = {}


def register(kind: Kind) -> None:
    """Add a kind of thing; its letter must be its own."""
    other = next((k for k in _kinds.values() if k.letter == kind.letter), kind)
    if other.name != kind.name:
        raise ValueError(f"{kind.letter} is the letter of {other.name}.")
    _kinds[kind.name] = kind


def code_of(name: str, pk: int) -> str:
    """Return the short code of a row, to be printed or shown."""
    return short_code(_kinds[name].letter, pk)


def path_to(name: str, pk: int) -> str:
    """Return the path that a label's address ends with."""
    return f"/c/{code_of(name, pk)}"


def find(
    site: Site, text: str, *, wanted: Collection[str] = (), field: str = "code", access: Any = None
) -> Found:
    """
    Return the one thing of a site that a code names.

    Parameters
    ----------
    site : Site
        Where it must be.
    text : str
        As scanned or typed.
    wanted : collection of str
        Names of the kinds asked for; by default any.
    field : str
        Name of the field, for the refusal.
    access : Access, optional
        Kinds that the caller may not read count as unknown.

    Raises
    ------
    Invalid
        ``required``, ``too_long``, ``wrong_check``, ``does_not_exist``, ``other_kind`` or
        ``several``.
    """
    plain = text.replace("\0", "").strip()
    if not plain:
        raise Invalid.one(field, "required", "The code is empty. Scan it, or type it.")
    if len(plain) > LONGEST:
        words = f"The code has {len(plain)} characters; at most {LONGEST} are read."
        raise Invalid.one(field, "too_long", words, limit=LONGEST)
    kinds = [
        kind
        for kind in _kinds.values()
        if access is None or access.may(kind.scope, site.pk)
    ]  # fmt: skip
    found = _named(site, plain, kinds, field) or _labelled(site, plain, kinds, wanted)
    fitting = [one for one in found if not wanted or one.kind in wanted]
    if len(fitting) == 1:
        return fitting[0]
    asked = _asked(list(wanted))
    if len(fitting) > 1:
        these = ", ".join(one.code for one in fitting[:MOST_NAMED])
        more = "" if len(fitting) <= MOST_NAMED else f" and {len(fitting) - MOST_NAMED} more"
        words = (
            f"{_shown(plain)} names {len(fitting)}: {these}{more}. Scan the {asked}'s own label."
        )
        raise Invalid.one(field, "several", words, value=_shown(plain))
    if found:
        words = f"{_shown(plain)} is {found[0].words}; a {asked} is asked for here."
        raise Invalid.one(field, "other_kind", words, value=_shown(plain))
    none = f"No {asked}" if wanted else "Nothing"
    words = f"{none} here carries the code {_shown(plain)}."
    raise Invalid.one(field, "does_not_exist", words, value=_shown(plain))


def _named(site: Site, text: str, kinds: Sequence[Kind], field: str) -> list[Found]:
    """Return everything a text names: own codes, and the short code or address it may be."""
    path = path_of(text)
    own = [] if path else [one for kind in kinds for one in kind.by_text(site, text)]
    wrong = None
    try:
        short = _by_number(site, path, text, kinds)
    except WrongCheck as error:
        short, wrong = None, error
    if short is not None and (short.kind, short.pk) not in {(one.kind, one.pk) for one in own}:
        own.append(short)
    if not own and wrong is not None:
        words = f"{_shown(str(wrong))} is misread: its last two digits do not fit. Look again."
        raise Invalid.one(field, "wrong_check", words, value=_shown(text)) from wrong
    return own


def _labelled(
    site: Site, text: str, kinds: Sequence[Kind], wanted: Collection[str]
) -> list[Found]:
    """Return what a supplier's label means, of the first kind that is asked for and known."""
    for kind in kinds:
        if kind.by_label is not None and (not wanted or kind.name in wanted):
            found = list(kind.by_label(site, text))
            if found:
                return found
    return []


def _by_number(site: Site, path: str | None, text: str, kinds: Sequence[Kind]) -> Found | None:
    short = read_short(text) if path is None else read_path(path)
    for kind in kinds:
        if short is not None and kind.letter == short.letter:
            return kind.by_number(site, short.number)
        if path is not None and (old := re.fullmatch(rf"(?:/.*)?{kind.path}/?", path)):
            return kind.by_number(site, int(old[1]))
    return None


def _asked(names: list[str]) -> str:
    """Name the kinds asked for: `lot, can or tool`."""
    if len(names) < 2:
        return names[0] if names else "thing"
    return f"{', '.join(names[:-1])} or {names[-1]}"


def _shown(text: str) -> str:
    """Return a code as it may stand in a sentence."""
    return "".join(sign for sign in text if sign.isprintable())[:80]
