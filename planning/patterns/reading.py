"""Having a pattern read by the confined child, and turning whatever happens into an answer."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from django.conf import settings

from planning.patterns.child import LIMITS, TOO_BIG
from shared.confined import ask

TOO_SLOW = (
    f"Reading the file takes more than {LIMITS.cpu_seconds} s of computing. Export the pattern "
    "with coarser facets."
)
FELL_OVER = (
    "Reading the file failed in a way that was not foreseen. Export the pattern again, perhaps "
    "in another format."
)
_WORDS = {"too_slow": TOO_SLOW, "too_much_memory": TOO_BIG, "unforeseen": FELL_OVER}


@dataclass(frozen=True)
class Reading:
    """What came of reading a file: a report, or the code and sentence of a refusal."""

    report: dict[str, Any] | None
    code: str = ""
    because: str = ""
    took_s: float | None = None
    peak_mb: float | None = None
    fault: str = ""
    """The last of what the child wrote when it fell over, for the log."""


def read(
    path: Path,
    name: str,
    unit: str,
    setup: dict[str, Any],
    pictures: dict[str, Path],
    solid: Path,
) -> Reading:
    """Read a file in the child; never raises for what is in the file."""
    wish = {
        "path": str(path),
        "name": name,
        "unit": unit,
        "setup": setup,
        "pictures": {view: str(at) for view, at in pictures.items()},
        "solid": str(solid),
    }
    done = ask("planning.patterns.child", wish, LIMITS, settings.ROOT)
    if done.answer is None:
        return Reading(None, done.failure, _WORDS[done.failure], fault=done.fault)
    refused = done.answer.get("refused") or {"code": "", "because": ""}
    return Reading(
        done.answer.get("report"),
        refused["code"],
        refused["because"],
        done.answer["took_s"],
        done.answer["peak_mb"],
    )
