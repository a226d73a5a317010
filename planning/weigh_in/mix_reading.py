"""The temperature of a mix as somebody types it: in one unit, and asked about where it is odd."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from planning.batches.models import Batch
from planning.core.casting.plausible import mix_question, usual_mix_c
from shared.errors import Invalid
from shared.units import convert

PLACE = "facts/mix_c"


def with_mix(facts: Mapping[str, Any], batch: Batch, *, confirmed: bool) -> dict[str, Any]:
    """
    Return the facts of an entry with the mix's temperature in C, to the tenth.

    Raises
    ------
    Invalid
        If it is given in both units; with the code `implausible` and a question if it is unusual
        and not confirmed.
    """
    found = dict(facts)
    if "mix_f" in found:
        if "mix_c" in found:
            raise Invalid.one(PLACE, "one_unit", "Give the mix once: mix_c or mix_f.")
        celsius = convert(Decimal(found["mix_f"]), "f", "c")
        found["mix_c"] = str(celsius.quantize(Decimal("0.1")))
    if "mix_c" not in found or confirmed:
        return found
    words = mix_question(float(found["mix_c"]), *_known(batch))
    if words is not None:
        raise Invalid.one(
            PLACE,
            "implausible",
            f"{words} Look at the unit and at the probe, and confirm it if it is really so.",
            value=found["mix_c"],
            unit="°C",
        )
    return found


def usual_of(batch: Batch) -> tuple[float, float]:
    """Return between which temperatures a batch's mix usually is, C."""
    return usual_mix_c(*_known(batch))


def _known(batch: Batch) -> tuple[float, float | None]:
    """Return what is expected in the shop, and what is planned for the mix, C."""
    expected = [float(portion.lift.expected_c) for portion in batch.portions.all()]
    planned = None if batch.mix_c is None else float(batch.mix_c)
    return max(expected, default=20.0), planned
