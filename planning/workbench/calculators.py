"""The calculators by name: what each asks, how it answers, and what it tells people first."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from planning.workbench import casting, curing, fits, heat, inputs, section, sheet_values
from planning.workbench.answer import Answer
from planning.workbench.inputs import CalculatorForm


@dataclass(frozen=True)
class Calculator:
    """One page and one address of the API."""

    name: str
    title: str
    intro: str
    form: type[CalculatorForm]
    work: Callable[[Any], Answer | None]

    def answer(self, form: CalculatorForm) -> Answer | None:
        """Return the answer to a valid form; nothing when the form then holds errors."""
        if not form.is_valid():
            return None
        try:
            found = self.work(form)
        except (ValueError, ArithmeticError) as error:
            # The cores name quantity, value and limit; they know no fields.
            form.add_error(None, f"{str(error)[:1].upper()}{str(error)[1:]}.")
            return None
        return None if form.errors else found

    def bound(self, given: Mapping[str, str]) -> CalculatorForm:
        """Return the form filled from a query string."""
        return self.form(given)


CALCULATORS: dict[str, Calculator] = {
    calculator.name: calculator
    for calculator in (
        Calculator(
            "volume", "Volume", "What a cavity holds, and its lifts.",
            inputs.VolumeForm, casting.volume,
        ),
        Calculator(
            "mix", "Mix", "What to weigh, to the step of the scale, and whether the scale is "
            "fine enough.",
            inputs.MixForm, casting.mix,
        ),
        Calculator(
            "over-pour", "Over-pour", "One component was poured too far: what to add, and "
            "whether it still fits.",
            inputs.OverpourForm, casting.overpour,
        ),
        Calculator(
            "pot-life", "Pot life", "How long the pot lives today, the largest batch, and how "
            "hot a forgotten pot gets.",
            inputs.PotLifeForm, heat.pot_life,
        ),
        Calculator(
            "lift", "Lift temperature", "How hot a lift gets and when, and the deepest that is "
            "safe.",
            inputs.LiftForm, heat.lift,
        ),
        Calculator(
            "section", "Narrow casting", "How hot a casting gets that is not wide, when its edges "
            "have cured, and how far the figures for a wide lift are off.",
            inputs.SectionForm, section.section,
        ),
        Calculator(
            "data-sheet", "Data sheet", "What the values of a data sheet come to at 15, 20, 25 "
            "and 30 °C, beside those of a system that is there already.",
            inputs.SheetValuesForm, sheet_values.sheet_values,
        ),
        Calculator(
            "clocks", "Between lifts", "From when the next lift may go on, and until when it "
            "still bonds.",
            inputs.ClocksForm, heat.clocks,
        ),
        Calculator(
            "cure", "Cure clock", "When it may be demoulded, by the temperatures it really had; "
            "post-cure.",
            inputs.CureForm, curing.cure,
        ),
        Calculator(
            "dew-point", "Dew point", "Whether a surface is dry enough to coat or pour on.",
            inputs.DewForm, curing.dew,
        ),
        Calculator(
            "fit", "Fit", "What the shop's own records say of a system: kinetics from logged "
            "pours, an activation energy from times.",
            inputs.FitForm, fits.fit,
        ),
        Calculator(
            "properties", "Filled resin", "Heat properties from the parts of a filled resin, "
            "where nobody measured them.",
            inputs.PropertiesForm, fits.properties,
        ),
    )
}  # fmt: skip
"""In the order of the pages."""
