"""Forms for how one is told."""

from __future__ import annotations

from typing import Any

from django import forms

from planning.reminders.models import Channel
from planning.reminders.queries import KindChoice


class QuietForm(forms.Form):
    """The hours in which one is not written to."""

    quiet_from = forms.TimeField(
        label="Quiet from",
        required=False,
        widget=forms.TimeInput(attrs={"type": "time"}),
        help_text="Local time, such as 20:00.",
    )
    quiet_until = forms.TimeField(
        label="Quiet until",
        required=False,
        widget=forms.TimeInput(attrs={"type": "time"}),
        help_text="What cannot wait, such as a peak with nobody in, comes through all the same.",
    )


class WebhookForm(forms.Form):
    """Where one's reminders are posted to."""

    webhook_url = forms.CharField(
        label="Webhook address",
        required=False,
        max_length=300,
        help_text="Begins with https://. Empty for none. A new secret is shown once.",
    )


class ChannelsForm(forms.Form):
    """One row of boxes a kind of reminder."""

    def __init__(self, *args: Any, rows: list[KindChoice], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for row in rows:
            self.fields[row.kind] = forms.MultipleChoiceField(
                label=row.label,
                choices=Channel.choices,
                required=False,
                initial=row.channels,
                widget=forms.CheckboxSelectMultiple,
            )
