"""
One million facets: what the worker needs, in a child process held to 1 GB.

Run with ``python -m tests.benchmarks.bench_pattern``. Every step is timed; volume and processor
time are compared with a general mesh library (trimesh) that reads the same file and cuts it 20
times, in a process of its own, so that its memory does not count.
"""

from __future__ import annotations

import json
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

LIMIT_BYTES = 1 << 30
CUTS = 20
MOST_RATIO = 2.5
MOST_MB = 800
ALONG, ROUND = 709, 705
"""Rings and corners a ring: twice their product is the number of facets, just under a million."""


def lumpy_ring() -> bytes:
    """Return a closed ring with lumps, 2 * 709 * 705 = 999 690 facets, as binary STL."""
    u, v = np.meshgrid(
        np.linspace(0, 2 * np.pi, ALONG, endpoint=False),
        np.linspace(0, 2 * np.pi, ROUND, endpoint=False),
        indexing="ij",
    )
    thick = 60 + 5 * np.sin(9 * u) * np.cos(7 * v)
    reach = 200 + thick * np.cos(v)
    points = np.stack([reach * np.cos(u), reach * np.sin(u), thick * np.sin(v)], -1)
    here = np.arange(ALONG * ROUND).reshape(ALONG, ROUND)
    down, right = np.roll(here, -1, 0), np.roll(here, -1, 1)
    across = np.roll(down, -1, 1)
    facets = np.concatenate(
        [
            np.stack([here, down, across], -1).reshape(-1, 3),
            np.stack([here, across, right], -1).reshape(-1, 3),
        ]
    )
    rows = np.zeros(len(facets), dtype=[("n", "<f4", 3), ("c", "<f4", (3, 3)), ("s", "<u2")])
    rows["c"] = points.reshape(-1, 3)[facets]
    return bytes(80) + len(facets).to_bytes(4, "little") + rows.tobytes()


def measure(path: Path) -> None:
    """Read and examine the file inside the limit and write the figures as JSON."""
    resource.setrlimit(resource.RLIMIT_AS, (LIMIT_BYTES, LIMIT_BYTES))
    from planning.core.pattern.examine import Setup, examine
    from planning.core.pattern.mesh import lay_down
    from planning.core.pattern.read import read_pattern
    from planning.core.pattern.sections import Sections, section_table
    from planning.core.pattern.sound import inspect

    laps: dict[str, float] = {}
    start = time.perf_counter()

    def lap(name: str) -> None:
        nonlocal start
        laps[name] = round(time.perf_counter() - start, 2)
        start = time.perf_counter()

    mesh = read_pattern(path.read_bytes(), path.name, "mm")
    lap("read and weld")
    read_s = time.process_time()
    sound = inspect(mesh)
    lap("watertight")
    sections = Sections(lay_down(mesh))
    volume = sections.volume_mm3()
    table = section_table(sections, np.linspace(0, sections.height_mm, 100))
    lap("volume and 100 sections")
    sections_s = time.process_time() - read_s
    sections_peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    examined = examine(mesh, Setup(parting_mm=sections.height_mm / 2))
    lap("whole examination")
    sizes = [len(examined.picture(view)) for view in ("above", "below")]
    sizes.append(len(examined.thin()))
    lap("two pictures and the viewer's mesh")
    whole_s = time.process_time() - sections_s
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(  # noqa: T201  a benchmark speaks on its output
        json.dumps(
            {
                "facets": len(mesh.facets),
                "solid": sound.solid,
                "volume_mm3": volume,
                "signed_mm3": mesh.signed_volume_mm3(),
                "sections": len(table),
                "laps_s": laps,
                "to_100_sections_s": round(sum(list(laps.values())[:3]), 2),
                # the examination reads the sections again, so they count once
                "processor_s": round(whole_s, 2),
                "peak_mb_to_sections": round(sections_peak),
                "peak_mb": round(peak),
                "picture_bytes": sizes,
            }
        )
    )


def by_library(path: Path) -> None:
    """Write the volume a mesh library finds and the processor seconds it takes with its cuts."""
    import trimesh

    mesh = trimesh.load_mesh(path)
    volume = float(mesh.volume)
    low, high = mesh.bounds[:, 2]
    for height in np.linspace(low, high, CUTS + 2)[1:-1]:
        mesh.section(plane_origin=[0, 0, height], plane_normal=[0, 0, 1])
    taken = round(time.process_time(), 2)
    peak = round(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)
    print(json.dumps({"volume_mm3": volume, "processor_s": taken, "peak_mb": peak}))  # noqa: T201  as above


def run(part: str, path: Path) -> dict:
    """Run one of the two parts in a process of its own."""
    command = [sys.executable, "-m", "tests.benchmarks.bench_pattern", part, str(path)]
    threads = {"OPENBLAS_NUM_THREADS": "1", "PATH": "/usr/bin:/bin"}
    done = subprocess.run(command, capture_output=True, text=True, check=True, env=threads)
    return json.loads(done.stdout)


def main() -> None:
    """Measure, compare and fail when a promise is not kept."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "ring.stl"
        path.write_bytes(lumpy_ring())
        mine, other = run("measure", path), run("by_library", path)
    mine["volume_off"] = abs(mine["volume_mm3"] / other["volume_mm3"] - 1)
    print(json.dumps({"this project": mine, "mesh library": other}, indent=1))  # noqa: T201  as above
    ratio = mine["processor_s"] / other["processor_s"]
    print(f"{ratio:.2f} times the library's processor time; at most {MOST_RATIO}")  # noqa: T201
    kept = mine["volume_off"] < 1e-9 and ratio <= MOST_RATIO and mine["peak_mb"] < MOST_MB
    sys.exit(0 if kept else 1)


if __name__ == "__main__":
    if len(sys.argv) == 3:
        {"measure": measure, "by_library": by_library}[sys.argv[1]](Path(sys.argv[2]))
    else:
        main()
