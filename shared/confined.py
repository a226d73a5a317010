"""
A process that reads what strangers send: alone, with little memory and time, and no network.

The parent calls `ask`, which starts ``python -m MODULE`` with an empty environment, writes what
to do as JSON to its input and reads JSON from its output. The child's `main` is one call of
`serve`. A child knows no Django, no database and no secrets: whatever a hostile file makes of it,
there is nothing here to take, and its caller gets a reason instead of a dead worker.
"""

from __future__ import annotations

import json
import resource
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

LARGEST_ANSWER_BYTES = 5_000_000
Failure = Literal["", "too_slow", "too_much_memory", "unforeseen"]
_FORBIDDEN = ("socket.connect", "socket.bind", "socket.getaddrinfo", "subprocess.Popen", "os.exec")


@dataclass(frozen=True)
class Limits:
    """What a child may use."""

    memory_bytes: int
    cpu_seconds: int
    wall_seconds: int
    """Longest wait for it; it may have to share its processor."""
    file_bytes: int = 0
    """The largest file it may write."""


@dataclass(frozen=True)
class Outcome:
    """What a child answered, or how it failed."""

    answer: Mapping[str, Any] | None
    failure: Failure = ""
    fault: str = ""
    """The last of what it wrote when it fell over, for the log."""


def ask(module: str, wish: Mapping[str, Any], limits: Limits, root: Path) -> Outcome:
    """
    Have a module of this project read something; never raises for what it reads.

    Parameters
    ----------
    module : str
        Name of a module whose `main` calls `serve` with the same limits.
    wish : mapping
        What to do, as JSON.
    limits : Limits
        Its wall time is kept here, the others by the child itself.
    root : pathlib.Path
        Folder the project's packages lie in.
    """
    try:
        done = subprocess.run(
            [sys.executable, "-m", module],
            input=json.dumps(wish).encode(),
            capture_output=True,
            timeout=limits.wall_seconds,
            cwd=root,
            env=_bare_environment(root),
            check=False,
        )
    except subprocess.TimeoutExpired:
        return Outcome(None, "too_slow")
    fault = done.stderr[-2000:].decode("utf-8", "replace")
    if done.returncode in (-signal.SIGXCPU, -signal.SIGKILL):
        return Outcome(None, "too_slow", fault)
    if done.returncode != 0 or len(done.stdout) > LARGEST_ANSWER_BYTES:
        full = "MemoryError" in fault or "bad_alloc" in fault
        return Outcome(None, "too_much_memory" if full else "unforeseen", fault)
    return Outcome(json.loads(done.stdout))


def _bare_environment(root: Path) -> dict[str, str]:
    """No secrets, and one thread: idle threads of a number library would eat the address space."""
    return {
        "PATH": "/usr/bin:/bin",
        "PYTHONPATH": str(root),
        "PYTHONDONTWRITEBYTECODE": "1",
        "OPENBLAS_NUM_THREADS": "1",
        "OMP_NUM_THREADS": "1",
    }


def serve(work: Callable[[dict[str, Any]], dict[str, Any]], limits: Limits) -> None:
    """Read a wish, confine this process for good, answer with what `work` makes of it."""
    wish = json.load(sys.stdin)
    _confine(limits)
    begun = time.perf_counter()
    answer = work(wish)
    answer["took_s"] = round(time.perf_counter() - begun, 2)
    answer["peak_mb"] = _peak_mb()
    json.dump(answer, sys.stdout, allow_nan=False)


def _confine(limits: Limits) -> None:
    resource.setrlimit(resource.RLIMIT_AS, (limits.memory_bytes, limits.memory_bytes))
    resource.setrlimit(resource.RLIMIT_CPU, (limits.cpu_seconds, limits.cpu_seconds + 2))
    resource.setrlimit(resource.RLIMIT_FSIZE, (limits.file_bytes, limits.file_bytes))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    sys.addaudithook(_refuse)


def _refuse(event: str, _: Any) -> None:
    if event in _FORBIDDEN:
        raise PermissionError(f"{event} is not allowed while a stranger's file is read")


def _peak_mb() -> float:
    """Return the most memory this process held; `ru_maxrss` would begin with its parent's."""
    try:
        status = Path("/proc/self/status").read_text()
        kb = int(status.partition("VmHWM:")[2].split()[0])
    except (OSError, ValueError, IndexError):
        kb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return round(kb / 1024, 1)
