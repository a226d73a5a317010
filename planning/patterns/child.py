"""
The process that reads a pattern, confined by `shared.confined`.

Started as ``python -m planning.patterns.child`` by `planning.patterns.reading`. It knows no
Django, no database and no secrets.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

from shared.confined import Limits, serve

LARGEST_PICTURE_BYTES = 8_000_000
LIMITS = Limits(
    memory_bytes=1 << 30, cpu_seconds=60, wall_seconds=240, file_bytes=LARGEST_PICTURE_BYTES
)
TOO_BIG = (
    "Reading the file needs more than 1 GB of memory. Export the pattern with coarser facets."
)


def _examine(wish: dict[str, Any]) -> dict[str, Any]:
    from planning.core.casting.geometry import BadGeometry
    from planning.core.pattern.examine import Setup, examine, summary
    from planning.core.pattern.mesh import PatternRefused
    from planning.core.pattern.read import read_pattern

    setup = {**wish["setup"], "band_deg": tuple(wish["setup"]["band_deg"])}
    try:
        mesh = read_pattern(Path(wish["path"]).read_bytes(), wish["name"], wish["unit"])
        found = examine(mesh, Setup(**setup))
        for view, path in wish["pictures"].items():
            Path(path).write_bytes(found.picture(view))
        Path(wish["solid"]).write_bytes(found.thin())
    except PatternRefused as refused:
        return {"refused": {"code": refused.code, "because": str(refused)}}
    except BadGeometry as refused:
        return {"refused": {"code": "bad_geometry", "because": str(refused)}}
    except MemoryError:
        return {"refused": {"code": "too_much_memory", "because": TOO_BIG}}
    return {"report": {**found.report.as_json(), "summary": summary(found.report)}}


if __name__ == "__main__":
    serve(_examine, LIMITS)
