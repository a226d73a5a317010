"""
The process that reads a pattern: alone, with little memory and time, and without a network.

Started as ``python -m planning.patterns.child`` by `planning.patterns.reading`, which writes what
to do as JSON to its input and reads the report as JSON from its output. It knows no Django, no
database and no secrets: whatever a hostile file makes of it, there is nothing here to take.
"""

from __future__ import annotations

import json
import resource
import sys
import time
from pathlib import Path
from typing import Any

MEMORY_BYTES = 1 << 30
CPU_SECONDS = 60
LARGEST_PICTURE_BYTES = 8_000_000
TOO_BIG = (
    "Reading the file needs more than 1 GB of memory. Export the pattern with coarser facets."
)


def _confine() -> None:
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY_BYTES, MEMORY_BYTES))
    resource.setrlimit(resource.RLIMIT_CPU, (CPU_SECONDS, CPU_SECONDS + 2))
    resource.setrlimit(resource.RLIMIT_FSIZE, (LARGEST_PICTURE_BYTES, LARGEST_PICTURE_BYTES))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    sys.addaudithook(_no_network)


def _no_network(event: str, _: Any) -> None:
    if event in ("socket.connect", "socket.bind", "socket.getaddrinfo", "subprocess.Popen"):
        raise PermissionError(f"{event} is not allowed while a pattern is read")


def _examine(wish: dict[str, Any]) -> dict[str, Any]:
    from planning.core.geometry import BadGeometry
    from planning.core.pattern import Setup, examine, summary
    from planning.core.pattern_mesh import PatternRefused
    from planning.core.pattern_read import read_pattern

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


def _peak_mb() -> float:
    """Return the most memory this process held; `ru_maxrss` would begin with its parent's."""
    try:
        status = Path("/proc/self/status").read_text()
        kb = int(status.partition("VmHWM:")[2].split()[0])
    except (OSError, ValueError, IndexError):
        kb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return round(kb / 1024, 1)


def main() -> None:
    """Read a wish, confine this process, answer."""
    wish = json.load(sys.stdin)
    _confine()
    begun = time.perf_counter()
    answer = _examine(wish)
    answer["took_s"] = round(time.perf_counter() - begun, 2)
    answer["peak_mb"] = _peak_mb()
    json.dump(answer, sys.stdout, allow_nan=False)


if __name__ == "__main__":
    main()
