"""Child processes that begin together and end together. Knows no Django."""

from __future__ import annotations

import os
import signal
import subprocess
import time
from collections.abc import Mapping, Sequence
from types import FrameType

PATIENCE_S = 15.0


class Children:
    """
    Start programs, wait, and leave none behind.

    Each child gets its own session: Ctrl-C would otherwise reach it twice, once from the terminal
    and once from here, and a second signal makes a task worker stop cold.
    """

    def __init__(self) -> None:
        self.running: dict[str, subprocess.Popen[bytes]] = {}
        self.asked: int | None = None

    def start(self, name: str, command: Sequence[str], env: Mapping[str, str]) -> None:
        """Start one program."""
        self.running[name] = subprocess.Popen(command, env=dict(env), start_new_session=True)

    def listen(self) -> None:
        """Take Ctrl-C and SIGTERM as the wish to stop."""
        for number in (signal.SIGINT, signal.SIGTERM):
            signal.signal(number, self._note)

    def _note(self, number: int, frame: FrameType | None) -> None:
        self.asked = number

    def wait(self) -> str | None:
        """Return when asked to stop (None), or with the name of a program that ended by itself."""
        while self.asked is None:
            for name, child in self.running.items():
                if child.poll() is not None:
                    return name
            time.sleep(0.2)
        return None

    def stop(self) -> dict[str, int | None]:
        """Ask each once to end, wait, then end what is left; return how each ended."""
        for child in self.running.values():
            if child.poll() is None:
                child.terminate()
        deadline = time.monotonic() + PATIENCE_S
        for child in self.running.values():
            try:
                child.wait(max(0.1, deadline - time.monotonic()))
            except subprocess.TimeoutExpired:
                os.killpg(child.pid, signal.SIGKILL)
                child.wait()
        return {name: child.returncode for name, child in self.running.items()}
