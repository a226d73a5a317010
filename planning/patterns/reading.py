"""Having a pattern read by the confined child, and turning whatever happens into an answer."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from django.conf import settings

from planning.patterns.child import CPU_SECONDS, TOO_BIG

WALL_SECONDS = 240
"""Longest wait for the child, which may have to share its processor."""
LARGEST_ANSWER_BYTES = 5_000_000
TOO_SLOW = (
    f"Reading the file takes more than {CPU_SECONDS} s of computing. Export the pattern with "
    "coarser facets."
)
FELL_OVER = (
    "Reading the file failed in a way that was not foreseen. Export the pattern again, perhaps "
    "in another format."
)


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
    try:
        done = subprocess.run(
            [sys.executable, "-m", "planning.patterns.child"],
            input=json.dumps(wish).encode(),
            capture_output=True,
            timeout=WALL_SECONDS,
            cwd=settings.ROOT,
            env=_bare_environment(),
            check=False,
        )
    except subprocess.TimeoutExpired:
        return Reading(None, "too_slow", TOO_SLOW)
    return _answer(done)


def _bare_environment() -> dict[str, str]:
    """No secrets, and one thread: idle threads of a number library would eat the address space."""
    return {
        "PATH": "/usr/bin:/bin",
        "PYTHONPATH": str(settings.ROOT),
        "PYTHONDONTWRITEBYTECODE": "1",
        "OPENBLAS_NUM_THREADS": "1",
        "OMP_NUM_THREADS": "1",
    }


def _answer(done: subprocess.CompletedProcess[bytes]) -> Reading:
    fault = done.stderr[-2000:].decode("utf-8", "replace")
    if done.returncode in (-signal.SIGXCPU, -signal.SIGKILL):
        return Reading(None, "too_slow", TOO_SLOW, fault=fault)
    if done.returncode != 0 or len(done.stdout) > LARGEST_ANSWER_BYTES:
        if "MemoryError" in fault or "bad_alloc" in fault:
            return Reading(None, "too_much_memory", TOO_BIG, fault=fault)
        return Reading(None, "unforeseen", FELL_OVER, fault=fault)
    answer = json.loads(done.stdout)
    refused = answer.get("refused") or {"code": "", "because": ""}
    return Reading(
        answer.get("report"),
        refused["code"],
        refused["because"],
        answer["took_s"],
        answer["peak_mb"],
    )
