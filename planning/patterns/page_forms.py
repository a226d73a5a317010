"""Forms of the pattern pages: handing a file in, another set-up, the pour it is for."""

from __future__ import annotations

from typing import Any

from django import forms

from planning.patterns.actions import SETUP_FIELDS
from planning.patterns.models import PatternMesh, PatternUnit
from planning.patterns.queries import pours_to_fill
from planning.pours.models import Pour
from shared.access.models import Site

HELP = {
    "pull": "By the axes of the file: the way the casting is lifted off the pattern.",
    "parting_mm": "Above the lowest point. 0 casts one half, over a pattern standing on a board.",
    "margin_mm": "From the pattern to each barrier; 0 where it reaches the barriers.",
    "cover_mm": "At least 10 mm is usual (common practice).",
    "wall_draft_deg": "Positive leans outwards, so that the casting leaves the box upwards.",
    "band_low_deg": "3 to 5 degrees is usual on plunging faces (common practice).",
    "repair": "Joins gaps, turns flipped facets, closes holes with flat patches, and says so.",
}


class SetupForm(forms.ModelForm):
    """How a pattern lies, what box is built round it, and what draft is wanted."""

    unit = forms.ChoiceField(
        choices=[("", "Choose"), *PatternUnit.choices],
        help_text="The unit it was drawn in. A mesh file seldom says, and nothing is guessed.",
    )

    class Meta:
        model = PatternMesh
        fields = list(SETUP_FIELDS)
        help_texts = HELP

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for field in self.fields.values():
            if isinstance(field, forms.DecimalField):
                field.widget = forms.TextInput(
                    attrs={"inputmode": "decimal", "autocomplete": "off"}
                )
                field.error_messages["invalid"] = (
                    f"{field.label}: not a number; give digits with one point."
                )


class NewPatternForm(SetupForm):
    """A file with its set-up."""

    file = forms.FileField(
        label="File",
        help_text="STL, PLY, OBJ or 3MF, at most 50 MB or a million facets.",
        widget=forms.FileInput(attrs={"accept": ".stl,.ply,.obj,.3mf"}),
    )

    class Meta(SetupForm.Meta):
        fields = ["name", *SETUP_FIELDS]

    field_order = ["file", "unit", "name"]

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["name"].required = False
        self.fields["name"].help_text = "Left empty, the file's own name."


class UseForm(forms.Form):
    """Which pour gets the casting of which half."""

    pour = forms.ModelChoiceField(queryset=Pour.objects.none(), empty_label=None)
    half = forms.ChoiceField(label="Half of the pattern")

    def __init__(self, *args: Any, site: Site, halves: list[str], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["pour"].queryset = pours_to_fill(site.pk)
        self.fields["half"].choices = [(half, half) for half in halves]
