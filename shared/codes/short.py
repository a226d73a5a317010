"""
Short codes that people can read out and type, and the addresses that labels hold.

A short code is a letter for the kind of thing, the number of its row in the database, and two
check digits of ISO/IEC 7064, MOD 97-10, over both: `C217-65`. The letter counts as two digits
(A is 10, Z is 35), as the standard's best known user, ISO 13616, has it. One wrong character and
two neighbours exchanged are always noticed. A row's number never changes and is never given
twice, so a printed code stays true whatever address the shop moves to.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from urllib.parse import urlsplit

_SHORT = re.compile(r"([A-Z])-?([0-9OIL]{1,18})[- ]?([0-9OIL]{2})", re.IGNORECASE | re.ASCII)
_PATH = re.compile(r"(?:/.*)?/c/([A-Z][0-9-]{3,24})/?", re.IGNORECASE | re.ASCII)
_ALIKE = str.maketrans("OIL", "011")
"""Letters that are read for digits; a code has digits only after its first letter."""


@dataclass(frozen=True)
class Short:
    """What a short code says: the letter of a kind, and the number of a row."""

    letter: str
    number: int


class WrongCheck(ValueError):
    """A text with the form of a short code whose check digits do not fit."""


def short_code(letter: str, number: int) -> str:
    """Return the short code of a row, as it is printed: `C217-65`."""
    from stdnum.iso7064 import mod_97_10

    body = f"{letter}{number}"
    return f"{body}-{mod_97_10.calc_check_digits(body)}"


def read_short(text: str) -> Short | None:
    """
    Read a short code as typed; None for a text of another form.

    Raises
    ------
    WrongCheck
        If its check digits do not fit.
    """
    from stdnum.iso7064 import mod_97_10

    found = _SHORT.fullmatch(text.strip())
    if found is None:
        return None
    letter = found[1].upper()
    number, check = (found[n].upper().translate(_ALIKE) for n in (2, 3))
    if number.startswith("0") or not mod_97_10.is_valid(f"{letter}{number}{check}"):
        raise WrongCheck(text.strip())
    return Short(letter, int(number))


def path_of(text: str) -> str | None:
    """Return the path of an address, whatever its host is; None for what is no address."""
    if not re.match(r"https?://", text.strip(), re.IGNORECASE):
        return None
    try:
        return urlsplit(text.strip()).path
    except ValueError:
        return None


def read_path(path: str) -> Short | None:
    """
    Read the short code in the path of an address on a label, `/c/C217-65`.

    Raises
    ------
    WrongCheck
        As for `read_short`.
    """
    found = _PATH.fullmatch(path)
    return None if found is None else read_short(found[1])
