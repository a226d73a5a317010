"""Form fields for what people type by hand: hours of a day, words, hazard codes, weekdays."""

from __future__ import annotations

import re
from datetime import time
from itertools import pairwise
from typing import Any

from django import forms

from shared.hazard_statements import FORM

WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
_STRETCH = re.compile(r"\A(\d{1,2})[:.](\d{2})\s*(?:-|–|to)\s*(\d{1,2})[:.](\d{2})\Z")
_WORD = re.compile(r"\A[a-z][a-z0-9 _-]{0,39}\Z")
_HAZARD = re.compile(rf"\A{FORM}\Z")


class HoursField(forms.CharField):
    """Stretches of work on one day, such as ``07:00-12:00, 12:30-15:30``; nothing means free."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(required=False, max_length=120, **kwargs)

    def clean(self, value: Any) -> list[tuple[time, time]]:
        """Return the stretches in order; refuse hours that overlap or run over midnight."""
        text = super().clean(value)
        found = [self._stretch(part.strip()) for part in text.split(",") if part.strip()]
        found.sort()
        for before, after in pairwise(found):
            if after[0] < before[1]:
                raise forms.ValidationError(
                    f"{self.label}: {after[0]:%H:%M} begins before {before[1]:%H:%M} has ended."
                )
        return found

    def _stretch(self, part: str) -> tuple[time, time]:
        match = _STRETCH.match(part)
        if match is None:
            raise forms.ValidationError(
                f"{self.label} says {part!r}; write hours such as 07:00-12:00, 12:30-15:30."
            )
        hours = [int(group) for group in match.groups()]
        try:
            starts, ends = time(hours[0], hours[1]), time(hours[2], hours[3])
        except ValueError:
            raise forms.ValidationError(
                f"{self.label} says {part!r}; hours run from 00:00 to 23:59."
            ) from None
        if ends <= starts:
            raise forms.ValidationError(
                f"{self.label}: {starts:%H:%M} to {ends:%H:%M} does not end after it begins. A "
                "shift over midnight is entered as two, one on each day."
            )
        return starts, ends


def hours_text(stretches: list[tuple[time, time]]) -> str:
    """Return stretches of work as people type them."""
    return ", ".join(f"{starts:%H:%M}-{ends:%H:%M}" for starts, ends in sorted(stretches))


class WordsField(forms.MultipleChoiceField):
    """Words chosen from those in use in the shop, and new ones typed with commas between."""

    widget = forms.CheckboxSelectMultiple


def new_words(text: str, label: str) -> list[str]:
    """Return typed words in small letters; refuse what is no word."""
    words = [part.strip().lower() for part in text.split(",") if part.strip()]
    for word in words:
        if not _WORD.match(word):
            raise forms.ValidationError(
                f"{label} says {word!r}; use letters, digits, spaces or hyphens, at most 40 "
                "characters, with commas between."
            )
    return words


class HazardField(forms.CharField):
    """Hazard codes of a safety data sheet, such as ``H315, H317``."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(required=False, max_length=400, **kwargs)

    def prepare_value(self, value: Any) -> Any:
        """Show the codes as people type them."""
        return ", ".join(value) if isinstance(value, list) else value

    def clean(self, value: Any) -> list[str]:
        """Return the codes; refuse what is no hazard code."""
        found = [part.strip() for part in re.split(r"[,;\s]+", super().clean(value)) if part]
        for code in found:
            if not _HAZARD.match(code):
                raise forms.ValidationError(
                    f"{code!r} is no hazard code; they read H317 or EUH205. Section 2 of the "
                    "safety data sheet lists them."
                )
        return found


class WeekdaysField(forms.TypedMultipleChoiceField):
    """Weekdays, 1 for Monday."""

    widget = forms.CheckboxSelectMultiple

    def __init__(self, **kwargs: Any) -> None:
        choices = list(enumerate(WEEKDAYS, start=1))
        super().__init__(choices=choices, coerce=int, required=False, **kwargs)
