"""What to do about trouble at a pot, in words: on the batch page, by REST and on paper."""

from __future__ import annotations

from planning.batches.models import EntryKind

CARE: dict[str, tuple[str, ...]] = {
    EntryKind.HOT_POT: (
        "Do not stir it, do not cover it, do not hold it in your hands.",
        "If it still flows and its pour time has not passed, pour it thin at once.",
        "Otherwise carry it outside by its handle, set it on a bare floor away from people and "
        "anything that burns, and spread it flat if it still flows.",
        "Keep out of its fumes. Never put it in a bin. If it smokes, get everybody out and call "
        "for help.",
    ),
    EntryKind.LEAK_SEEN: (
        "Stop pouring into the mould that leaks.",
        "Press clay or wax on the gap from outside and set a tray beneath it. Gloves on.",
        "Wipe up what ran out before it sets. It heats up where it lies deep: spread it thin.",
        "Do not pour after the pot life to make up for it. The rest is planned anew.",
    ),
    EntryKind.SPILL: (
        "Eye: rinse with water at once, lids held open, for at least 15 minutes. Take contact "
        "lenses out. See a doctor.",
        "Skin: take off what is soaked. Wash with soap and plenty of water, never with solvent.",
        "Floor: keep people away. Cover it with dry sand or another binder that does not burn, "
        "take it up with gloves on, and spread it thin outside. Nothing into the drain.",
        "Dizzy or short of breath: into fresh air, never alone.",
    ),
    EntryKind.SHORT_SEEN: (
        "Fill the first mould as planned before you begin the next one.",
        "Do not scrape the sides of the pot into it; do not stretch it with resin or hardener.",
        "What is missing is planned anew as a further lift; it must still bond, so tell how much "
        "it is as soon as the pot is empty.",
    ),
}
"""The usual care: common practice, no source. The safety data sheet and local rules come first."""
