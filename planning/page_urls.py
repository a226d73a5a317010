"""Addresses of the planning side's pages."""

from __future__ import annotations

from datetime import date

from django.urls import path, register_converter

from planning.batch_sheets import pages as batch_sheets
from planning.today import pages as today


class DayConverter:
    """A day in an address: 2026-11-30; one that does not exist matches nothing."""

    regex = r"[0-9]{4}-[0-9]{2}-[0-9]{2}"

    def to_python(self, value: str) -> date:
        return date.fromisoformat(value)

    def to_url(self, value: date) -> str:
        return f"{value:%Y-%m-%d}"


register_converter(DayConverter, "day")

urlpatterns = [
    path("today/", today.today, name="today"),
    path("steps/<int:pk>/sign/", today.sign_step, name="step-sign"),
    path("reminders/<int:pk>/take-up/", today.take_up, name="reminder-take-up"),
    path("notices/<int:pk>/away/", today.put_away, name="notice-away"),
    path("sheets/<day:day>/", batch_sheets.sheet, name="sheet"),
    path("sheets/<day:day>.pdf", batch_sheets.sheet_pdf, name="sheet-pdf"),
]
