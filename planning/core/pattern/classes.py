"""
Sorts of draft, their colours and hatches; needs no other library, so that pages may read it.

Colours stay apart for colour-blind eyes (after the palette of Okabe and Ito, from memory), and
what matters carries a hatch as well, so that a black-and-white print shows it too.
"""

from __future__ import annotations

CLASSES = ("undercut", "upright", "below_band", "in_band", "above_band", "square")
COLOURS = {
    "undercut": "#d55e00",
    "upright": "#5a5a5a",
    "below_band": "#e69f00",
    "in_band": "#009e73",
    "above_band": "#8fcbf2",
    "square": "#e8e8e8",
    "trapped": "#cc79a7",
    "resting": "#ffffff",
}
HATCHES = {"undercut": "diagonal", "trapped": "back", "upright": "level", "below_band": "dots"}
