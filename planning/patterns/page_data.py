"""What the page of a pattern shows: figures of the report in the units people read them in."""

from __future__ import annotations

from typing import Any

from planning.core.pattern.classes import CLASSES, COLOURS, HATCHES
from planning.patterns.models import PatternMesh
from shop import stores

TABLE_ROWS = 20
SHOWN = (*CLASSES, "trapped", "resting")
WIDE, HIGH, LEFT, FOOT = 760, 240, 62, 206
"""Size of the drawing of areas, and where its axes stand."""


def class_names(low: float, high: float) -> dict[str, str]:
    """Return the draft classes in words."""
    return {
        "undercut": "Undercut: leans back and locks",
        "upright": "Upright, no draft",
        "below_band": f"Less than {low:g}°",
        "in_band": f"{low:g}° to {high:g}°, as wanted",
        "above_band": f"More than {high:g}°",
        "square": "Square to the pull",
    }


def shown(pattern: PatternMesh, system_id: int | None) -> dict[str, Any]:
    """Return everything the page of an examined pattern needs."""
    report = pattern.report
    systems = stores.systems()
    system = next((info for info in systems if info.id == system_id), None)
    density = float(system.mixed_density_kg_l) if system else None
    return {
        "report": report,
        "solid": {
            "there": pattern.solid.is_file(),
            "colours": " ".join(COLOURS[name] for name in SHOWN),
            "hatches": " ".join(HATCHES.get(name, "none") for name in SHOWN),
        },
        "volume_cm3": _cm(report["volume_l"], 1000),
        "surface_cm2": report["surface_mm2"] / 100,
        "wetted_m2": sum(half["wetted_mm2"] for half in report["halves"]) / 1e6,
        "undercut_cm2": sum(half["undercut_mm2"] for half in report["halves"]) / 100,
        "halves": [_half(half, report["band_deg"], density) for half in report["halves"]],
        "undercuts": [_undercut(row) for row in report["undercuts"]],
        "areas": drawing_of_areas(report["sections"], report["size_mm"][2]),
        "section_rows": _thinned(report["sections"]),
        "largest_error_cm3": _cm(report["largest_error_l"], 1000),
        "systems": systems,
        "system": system,
    }


def _cm(value: float | None, factor: float) -> float | None:
    return None if value is None else value * factor


def _half(half: dict[str, Any], band: list[float], density: float | None) -> dict[str, Any]:
    total = sum(half["draft_mm2"].values()) or 1.0
    names = class_names(*band)
    rows = [
        {
            "words": names[name],
            "colour": COLOURS[name],
            "hatch": HATCHES.get(name, ""),
            "stop": name == "undercut" and half["draft_mm2"][name] > 0,
            "cm2": half["draft_mm2"][name] / 100,
            "percent": 100 * half["draft_mm2"][name] / total,
        }
        for name in CLASSES
    ]
    rows.append(
        {
            "words": "Of these under an overhang, about and rather too little",
            "colour": COLOURS["trapped"],
            "hatch": HATCHES["trapped"],
            "stop": half["trapped_mm2"] > 0,
            "cm2": half["trapped_mm2"] / 100,
            "percent": 100 * half["trapped_mm2"] / total,
        }
    )
    layers = [
        {
            "from_mm": low,
            "to_mm": high,
            "litres": litres,
            "kg": None if density is None else litres * density,
        }
        for low, high, litres in half["layers"]
    ]
    return {
        **half,
        "drafts": rows,
        "layer_rows": layers,
        "kg": None
        if density is None or half["casting_l"] is None
        else half["casting_l"] * density,
        "wetted_cm2": half["wetted_mm2"] / 100,
    }


def _undercut(row: dict[str, Any]) -> dict[str, Any]:
    spans = [
        f"{low:.4g} to {high:.4g}" for low, high in zip(row["from_mm"], row["to_mm"], strict=True)
    ]
    return {"cm2": row["area_mm2"] / 100, "spans": spans, "worst_deg": row["worst_deg"]}


def _thinned(sections: list[list[float]]) -> list[dict[str, float]]:
    every = max(1, len(sections) // TABLE_ROWS)
    return [
        {"mm": height, "cm2": area / 100, "litres": below / 1e6}
        for height, area, below in sections[::every]
    ]


def drawing_of_areas(sections: list[list[float]], height_mm: float) -> dict[str, Any] | None:
    """Return the line of area over height in the drawing's own units, with its ticks."""
    most = max((area for _, area, _ in sections), default=0.0)
    if most <= 0:
        return None
    across, up = (WIDE - LEFT - 10) / height_mm, (FOOT - 12) / most
    points = [(LEFT + height * across, FOOT - area * up) for height, area, _ in sections]
    return {
        "points": " ".join(f"{x:.1f},{y:.1f}" for x, y in points),
        "size": f"0 0 {WIDE} {HIGH}",
        "foot": FOOT,
        "left": LEFT,
        "right": WIDE - 10,
        "ticks_up": [
            {"y": round(FOOT - share * most * up, 1), "words": f"{share * most / 100:.3g}"}
            for share in (0, 0.5, 1)
        ],
        "ticks_across": [
            {
                "x": round(LEFT + share * height_mm * across, 1),
                "words": f"{share * height_mm:.3g} mm",
            }
            for share in (0, 0.5, 1)
        ],
    }
