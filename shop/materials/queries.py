"""Reading materials, resin systems and their cautions."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import fields

from django.db.models import Exists, OuterRef, Prefetch, prefetch_related_objects

from shared import hazard_statements
from shop.core.own_kinetics import Origin, origin, parts
from shop.materials.components import SystemComponent
from shop.materials.models import Material, ResinSystem
from shop.stores_types import ComponentInfo, MaterialInfo, SystemInfo

_SYSTEM_COLUMNS = tuple(
    f.name
    for f in fields(SystemInfo)
    if f.name not in ("resin", "hardener", "post_cure", "further")
)


def material_info(material: Material) -> MaterialInfo:
    """Return the plain form of a material."""
    values = {f.name: getattr(material, f.name) for f in fields(MaterialInfo)}
    return MaterialInfo(**values | {"hazard_statements": tuple(material.hazard_statements)})


def _system_info(system: ResinSystem, further: Iterable[SystemComponent]) -> SystemInfo:
    return SystemInfo(
        **{name: getattr(system, name) for name in _SYSTEM_COLUMNS},
        resin=material_info(system.resin),
        hardener=material_info(system.hardener),
        post_cure=tuple(system.post_cure),
        further=tuple(
            ComponentInfo(
                one.name, material_info(one.material), one.per_100, one.tolerance_percent
            )
            for one in further
        ),
    )


def kinetics_origin(system: ResinSystem) -> Origin:
    """Say where a system's kinetics come from, and whether they are trusted as the shop's own."""
    further = ((part.material.code, float(part.per_100)) for part in system.further.all())
    mixed = parts(system.hardener.code, further)
    return origin(system.kinetics, mixed, float(system.hardener_per_100))


def systems(ids: Iterable[int] | None = None, code: str | None = None) -> tuple[SystemInfo, ...]:
    """
    Return the resin systems asked for, or all, in order of code.

    One query, and one more where some of them have components beside resin and hardener.
    """
    asked = ResinSystem.objects.select_related("resin", "hardener")
    if ids is not None:
        asked = asked.filter(pk__in=list(ids))
    if code is not None:
        asked = asked.filter(code=code)
    has_further = Exists(SystemComponent.objects.filter(system=OuterRef("pk")))
    rows = list(asked.annotate(has_further=has_further))
    further = SystemComponent.objects.select_related("material")
    mixed = [row for row in rows if row.has_further]
    prefetch_related_objects(mixed, Prefetch("further", further))
    return tuple(_system_info(row, row.further.all() if row.has_further else ()) for row in rows)


def materials_by_id(ids: Iterable[int]) -> dict[int, MaterialInfo]:
    """Return the materials asked for by id; an id that does not exist is left out."""
    return {row.pk: material_info(row) for row in Material.objects.filter(pk__in=list(ids))}


def hazard_lines(material_ids: Iterable[int]) -> tuple[tuple[str, str], ...]:
    """Return code and sentence of each hazard statement of the materials, each once."""
    listed = Material.objects.filter(pk__in=list(material_ids)).values_list(
        "hazard_statements", flat=True
    )
    return tuple(hazard_statements.lines(code for codes in listed for code in codes))


def stamp() -> str:
    """Return a text that differs once the data of a material or resin system has changed."""
    names = ("pk", "version")
    systems_now = list(ResinSystem.objects.order_by("pk").values_list(*names))
    further = list(SystemComponent.objects.order_by("pk").values_list(*names))
    return repr((systems_now, further, list(Material.objects.order_by("pk").values_list(*names))))
