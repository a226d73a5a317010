"""Forms of endpoints."""

from __future__ import annotations

from django import forms

from shared.events.kinds import EventKind


class EndpointForm(forms.Form):
    """Name, address and kinds of an endpoint."""

    name = forms.CharField(label="Name", max_length=80, help_text="Such as Ordering system.")
    url = forms.CharField(
        label="Address",
        max_length=500,
        help_text="It begins with https://. Private addresses are refused unless "
        "WEBHOOK_ALLOWED_NETWORKS names their network.",
    )
    kinds = forms.MultipleChoiceField(
        label="Kinds of events",
        choices=EventKind.choices,
        required=False,
        help_text="None chosen: all.",
    )


class SinceForm(forms.Form):
    """From when on everything is sent again."""

    since = forms.CharField(
        label="Send again from",
        max_length=40,
        widget=forms.DateTimeInput(attrs={"type": "datetime-local"}),
    )
