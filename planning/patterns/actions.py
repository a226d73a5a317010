"""Writes: take in a pattern, have it examined, examine it again, use it for a pour, throw away."""

from __future__ import annotations

import hashlib
import logging
import secrets
from collections.abc import Iterable, Mapping
from datetime import datetime, timedelta
from decimal import Decimal
from pathlib import Path, PurePath
from typing import Any

from django.db import transaction
from django.db.models import F, Q

from planning.core.casting.geometry import CastingShape
from planning.patterns import reading
from planning.patterns.models import PatternMesh, PatternState, folder
from planning.patterns.queries import DEAD_AFTER, half_of_report
from planning.pours import actions as pours
from planning.pours.models import Pour
from shared.access.models import Site
from shared.errors import Invalid, ShopError, file_too_large
from shared.send import send

log = logging.getLogger(__name__)

LARGEST_BYTES = 50_000_084
COARSER = ", a million facets of binary STL. Export it with coarser facets."
"""A million facets of binary STL: 84 + 50 n."""
FORMATS = ("stl", "ply", "obj", "3mf")
VIEWS = ("above", "below")
STRAY_AFTER = timedelta(days=1)
SETUP_FIELDS = (
    "unit",
    "pull",
    "parting_mm",
    "margin_mm",
    "cover_mm",
    "wall_draft_deg",
    "band_low_deg",
    "band_high_deg",
    "thickest_lift_mm",
    "repair",
)


class PatternNotReady(ShopError):
    """A pattern that cannot be used for this, with the reason."""


def take_pattern(
    *,
    site: Site,
    file_name: str,
    chunks: Iterable[bytes],
    setup: Mapping[str, Any],
    now: datetime,
    name: str = "",
    by: Any = None,
) -> PatternMesh:
    """Keep a file under a name of our own and have the worker examine it."""
    file_name = PurePath(file_name.replace("\\", "/")).name[-120:]
    kind = file_name.rsplit(".", 1)[-1].lower() if "." in file_name else ""
    if kind not in FORMATS:
        listed = ", ".join(FORMATS)
        raise Invalid.one(
            "file",
            "format",
            f"file is named {file_name!r}; a pattern may be {listed}.",
            value=file_name,
            limit=listed,
        )
    check_setup(setup)
    stored = f"{secrets.token_hex(16)}.{kind}"
    size, digest = _store(stored, chunks)
    try:
        with transaction.atomic():
            pattern = PatternMesh.objects.create(
                site=site,
                name=name.strip() or file_name.rsplit(".", 1)[0][:120] or "Pattern",
                file_name=file_name,
                stored=stored,
                size_bytes=size,
                sha256=digest,
                handed_in_by=by,
                handed_in_at=now,
                asked_at=now,
                **setup,
            )
            transaction.on_commit(lambda: _nudge(pattern.pk))
    except BaseException:
        (folder() / stored).unlink(missing_ok=True)
        raise
    return pattern


def _store(stored: str, chunks: Iterable[bytes]) -> tuple[int, str]:
    """Write a file, counting as it comes; a larger or empty one leaves nothing behind."""
    folder().mkdir(parents=True, exist_ok=True)
    path = folder() / stored
    size, digest = 0, hashlib.sha256()
    try:
        with path.open("xb") as file:
            for chunk in chunks:
                size += len(chunk)
                if size > LARGEST_BYTES:
                    raise file_too_large(size, LARGEST_BYTES, COARSER)
                digest.update(chunk)
                file.write(chunk)
        if size == 0:
            raise Invalid.one(
                "file", "empty", "file is empty, 0 bytes. Export the pattern again.", value=0
            )
    except BaseException:
        path.unlink(missing_ok=True)
        raise
    return size, digest.hexdigest()


def check_setup(setup: Mapping[str, Any]) -> None:
    """Raise `Invalid` for what can be told without the file: the draft band and the lift."""
    low = setup.get("band_low_deg", Decimal(3))
    high = setup.get("band_high_deg", Decimal(5))
    if not 0 < low < high:
        raise Invalid.one(
            "band_low_deg",
            "out_of_range",
            f"band_low_deg is {low} deg; it must be above 0 and below band_high_deg, {high} deg.",
            value=low,
            limit=high,
            unit="deg",
        )
    lift = setup.get("thickest_lift_mm", Decimal(50))
    if not lift > 0:
        raise Invalid.one(
            "thickest_lift_mm",
            "out_of_range",
            f"thickest_lift_mm is {lift} mm; it must be above 0 mm.",
            value=lift,
            limit=0,
            unit="mm",
        )


def _nudge(pattern_id: int) -> None:
    send("planning.tasks.examine_pattern", pattern_id)


def examine(*, pattern_id: int, now: datetime) -> PatternMesh:
    """Have a waiting pattern read. Claimed once: a second worker finds nothing to do."""
    claimed = PatternMesh.objects.filter(
        Q(state=PatternState.WAITING)
        | Q(state=PatternState.READING, started_at__lt=now - DEAD_AFTER),
        pk=pattern_id,
    ).update(state=PatternState.READING, started_at=now, version=F("version") + 1)
    pattern = PatternMesh.objects.get(pk=pattern_id)
    if not claimed:
        return pattern
    found = reading.read(
        pattern.path,
        pattern.file_name,
        pattern.unit,
        _core_setup(pattern),
        {view: pattern.picture(view) for view in VIEWS},
        pattern.solid,
    )
    if found.fault:
        log.error("pattern %s was not read: %s", pattern.pk, found.fault)
    # only what this claim began is written: a set-up changed meanwhile is being read anew
    PatternMesh.objects.filter(pk=pattern.pk, state=PatternState.READING, started_at=now).update(
        state=PatternState.READY if found.report else PatternState.REFUSED,
        report=found.report,
        refused_code=found.code,
        refused_because=found.because[:400],
        took_s=found.took_s,
        peak_mb=found.peak_mb,
        read_at=now,
        version=F("version") + 1,
    )
    pattern.refresh_from_db()
    return pattern


def _core_setup(pattern: PatternMesh) -> dict[str, Any]:
    return {
        "pull": pattern.pull,
        "parting_mm": float(pattern.parting_mm),
        "margin_mm": float(pattern.margin_mm),
        "cover_mm": float(pattern.cover_mm),
        "wall_draft_deg": float(pattern.wall_draft_deg),
        "band_deg": [float(pattern.band_low_deg), float(pattern.band_high_deg)],
        "thickest_lift_mm": float(pattern.thickest_lift_mm),
        "repair": pattern.repair,
    }


@transaction.atomic
def examine_again(
    *, pattern: PatternMesh, changes: Mapping[str, Any], now: datetime
) -> PatternMesh:
    """Examine a pattern with another set-up; what it was used for before stays as it was."""
    kept = PatternMesh.objects.select_for_update().get(pk=pattern.pk)
    for name, value in changes.items():
        if name not in SETUP_FIELDS:
            raise ValueError(f"{name} is no part of a pattern's set-up")
        setattr(kept, name, value)
    check_setup({name: getattr(kept, name) for name in SETUP_FIELDS})
    kept.state, kept.asked_at, kept.started_at = PatternState.WAITING, now, None
    kept.report, kept.refused_code, kept.refused_because = None, "", ""
    kept.version += 1
    kept.save()
    transaction.on_commit(lambda: _nudge(kept.pk))
    return kept


@transaction.atomic
def use_for_pour(*, pattern: PatternMesh, half: str, pour: Pour) -> Pour:
    """Give a pour the casting found round this pattern: depth, volume by height, area to coat."""
    found = half_of_report(pattern, half)
    if pattern.state != PatternState.READY or found is None:
        halves = ", ".join(part["name"] for part in (pattern.report or {}).get("halves", []))
        raise PatternNotReady(
            f"{pattern.name} has no half {half}"
            + (f"; it has {halves}." if halves else ": it has not been examined."),
            code="pattern_not_ready",
        )
    if found["casting_rows"] is None:
        raise PatternNotReady(
            f"Half {half} of {pattern.name} has no casting volume: {found['refused']}",
            code="pattern_without_volume",
        )
    if pour.order.site_id != pattern.site_id:
        raise PatternNotReady(
            f"{pour} belongs to another site than {pattern.name}.", code="pattern_elsewhere"
        )
    shape = CastingShape.from_rows(found["casting_rows"])
    length, width, depth = found["box_mm"]
    coated_mm2 = found["wetted_mm2"] + shape.area_mm2(0.0) + 2 * (length + width) * depth
    changes = {
        "geometry": "mesh",
        "shape_rows": found["casting_rows"],
        "length_mm": _rounded(length, "0.1"),
        "width_mm": _rounded(width, "0.1"),
        "depth_mm": _rounded(depth, "0.1"),
        "draft_deg": max(Decimal(0), pattern.wall_draft_deg),
        "pattern_height_mm": _rounded(depth - found["cover"]["over_highest_mm"], "0.1"),
        "pattern_l": _rounded(found["pattern_l"], "0.0001"),
        "release_area_m2": _rounded(coated_mm2 / 1e6, "0.0001"),
        "pattern": pattern,
    }
    return pours.change_pour(pour=pour, changes=changes)


def _rounded(value: float, step: str) -> Decimal:
    return Decimal(repr(value)).quantize(Decimal(step))


def throw_away(*, pattern: PatternMesh) -> None:
    """Delete a pattern with its file and pictures, unless a pour was made from it."""
    used = [str(pour) for pour in pattern.pours.select_related("order")[:3]]
    if used:
        raise PatternNotReady(
            f"{pattern.name} was used for {', '.join(used)}; it is kept as their record.",
            code="pattern_used",
        )
    files = [pattern.path, pattern.solid, *(pattern.picture(view) for view in VIEWS)]
    with transaction.atomic():
        pattern.delete()
        transaction.on_commit(lambda: _remove(files))


def _remove(files: list[Path]) -> None:
    for file in files:
        file.unlink(missing_ok=True)


def sweep_files(now: datetime) -> int:
    """Delete files that belong to no pattern, left by a request that was rolled back."""
    if not folder().is_dir():
        return 0
    known = set(PatternMesh.objects.values_list("stored", flat=True))
    old = (now - STRAY_AFTER).timestamp()
    strays = [
        file
        for file in folder().iterdir()
        if _stored_name(file.name) not in known and file.stat().st_mtime < old
    ]
    for file in strays:
        file.unlink(missing_ok=True)
    return len(strays)


def _stored_name(file_name: str) -> str:
    for view in VIEWS:
        file_name = file_name.removesuffix(f"-{view}.png")
    return file_name.removesuffix("-solid.bin")
