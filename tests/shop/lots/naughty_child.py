"""A confined process that tries what it must not: started by `test_certificates`."""

from __future__ import annotations

import os
import time
from pathlib import Path
from typing import Any

from shared.confined import Limits, serve


def work(wish: dict[str, Any]) -> dict[str, Any]:
    does = wish["does"]
    if does == "spin":
        while True:
            pass
    if does == "hoard":
        return {"length": len(bytes(1 << 30))}
    if does == "fall":
        raise RuntimeError("fallen over")
    if does == "connect":
        import socket

        socket.create_connection(("127.0.0.1", 1), timeout=1)
    if does == "start":
        import subprocess

        subprocess.run(["/bin/true"], check=True)
    if does == "write":
        Path(wish["path"]).write_bytes(bytes(100_000))
    if does == "sleep":
        time.sleep(15)
    return {"environment": sorted(os.environ)}


if __name__ == "__main__":
    serve(work, Limits(memory_bytes=500_000_000, cpu_seconds=1, wall_seconds=20))
