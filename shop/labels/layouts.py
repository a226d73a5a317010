"""Sizes of labels: sheets of A4 and rolls, in millimetres; plain sizes that many makers sell."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Layout:
    """A page and the labels on it; `across` 1 and `down` 1 is a roll."""

    name: str
    words: str
    page_mm: tuple[float, float]
    label_mm: tuple[float, float]
    across: int = 1
    down: int = 1
    left_mm: float = 0
    top_mm: float = 0
    pitch_mm: tuple[float, float] = (0, 0)

    @property
    def on_a_page(self) -> int:
        """Return how many labels a page holds."""
        return self.across * self.down

    def corner_mm(self, place: int) -> tuple[float, float]:
        """Return the left upper corner of a label on its page."""
        row, column = divmod(place % self.on_a_page, self.across)
        return (
            self.left_mm + column * self.pitch_mm[0],
            self.top_mm + row * self.pitch_mm[1],
        )


A4 = (210.0, 297.0)
LAYOUTS = {
    layout.name: layout
    for layout in (
        Layout("a4-21", "A4 sheet, 3 x 7 labels of 63.5 x 38.1 mm", A4, (63.5, 38.1), 3, 7,
               7.2, 15.15, (66.04, 38.1)),
        Layout("a4-8", "A4 sheet, 2 x 4 labels of 99.1 x 67.7 mm", A4, (99.1, 67.7), 2, 4,
               4.65, 13.1, (101.6, 67.7)),
        Layout("a4-24", "A4 sheet, 3 x 8 labels of 70 x 36 mm", A4, (70, 36), 3, 8,
               0, 4.5, (70, 36)),
        Layout("a4-40", "A4 sheet, 4 x 10 labels of 52.5 x 29.7 mm", A4, (52.5, 29.7), 4, 10,
               0, 0, (52.5, 29.7)),
        Layout("roll-100x50", "Roll, 100 x 50 mm", (100, 50), (100, 50)),
        Layout("roll-57x32", "Roll, 57 x 32 mm", (57, 32), (57, 32)),
        Layout("roll-50x30", "Roll, 50 x 30 mm", (50, 30), (50, 30)),
    )
}  # fmt: skip
"""Name to size; measures of common sheets from memory: print one on plain paper first."""
