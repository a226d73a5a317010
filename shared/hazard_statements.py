"""
The words behind hazard codes, so that a page can show what a material's data sheet declares.

The texts are those of the Globally Harmonized System and of Regulation (EC) No 1272/2008, Annex
III, written down from memory. The product's own safety data sheet is what counts.
"""

from __future__ import annotations

from collections.abc import Iterable

FORM = r"(EU)?H[0-9]{3}[A-Za-z]{0,3}(\+H[0-9]{3}[A-Za-z]{0,3})*"
"""How the codes are written, several with a plus between."""
STATEMENTS: dict[str, str] = {
    "H220": "Extremely flammable gas.",
    "H222": "Extremely flammable aerosol.",
    "H223": "Flammable aerosol.",
    "H224": "Extremely flammable liquid and vapour.",
    "H225": "Highly flammable liquid and vapour.",
    "H226": "Flammable liquid and vapour.",
    "H228": "Flammable solid.",
    "H229": "Pressurised container: may burst if heated.",
    "H290": "May be corrosive to metals.",
    "H301": "Toxic if swallowed.",
    "H302": "Harmful if swallowed.",
    "H304": "May be fatal if swallowed and enters airways.",
    "H310": "Fatal in contact with skin.",
    "H311": "Toxic in contact with skin.",
    "H312": "Harmful in contact with skin.",
    "H314": "Causes severe skin burns and eye damage.",
    "H315": "Causes skin irritation.",
    "H317": "May cause an allergic skin reaction.",
    "H318": "Causes serious eye damage.",
    "H319": "Causes serious eye irritation.",
    "H330": "Fatal if inhaled.",
    "H331": "Toxic if inhaled.",
    "H332": "Harmful if inhaled.",
    "H334": "May cause allergy or asthma symptoms or breathing difficulties if inhaled.",
    "H335": "May cause respiratory irritation.",
    "H336": "May cause drowsiness or dizziness.",
    "H340": "May cause genetic defects.",
    "H341": "Suspected of causing genetic defects.",
    "H350": "May cause cancer.",
    "H351": "Suspected of causing cancer.",
    "H360": "May damage fertility or the unborn child.",
    "H361": "Suspected of damaging fertility or the unborn child.",
    "H370": "Causes damage to organs.",
    "H371": "May cause damage to organs.",
    "H372": "Causes damage to organs through prolonged or repeated exposure.",
    "H373": "May cause damage to organs through prolonged or repeated exposure.",
    "H400": "Very toxic to aquatic life.",
    "H410": "Very toxic to aquatic life with long lasting effects.",
    "H411": "Toxic to aquatic life with long lasting effects.",
    "H412": "Harmful to aquatic life with long lasting effects.",
    "H413": "May cause long lasting harmful effects to aquatic life.",
    "EUH066": "Repeated exposure may cause skin dryness or cracking.",
    "EUH071": "Corrosive to the respiratory tract.",
    "EUH205": "Contains epoxy constituents. May produce an allergic reaction.",
}
"""Code to sentence."""

UNKNOWN = "See the safety data sheet for this statement."


def lines(codes: Iterable[str]) -> tuple[tuple[str, str], ...]:
    """
    Return each code once, in order, with its sentence.

    A code that is not in the table keeps its place and points to the data sheet: a hazard is never
    dropped for want of words. Several codes joined by "+" get the sentences of each.
    """
    found: dict[str, str] = {}
    for raw in codes:
        code = "+".join(part.strip().upper() for part in raw.split("+"))
        if code:
            found[code] = " ".join(STATEMENTS.get(part, UNKNOWN) for part in code.split("+"))
    return tuple(sorted(found.items()))
