"""What stood on paper when a day's sheet was printed."""

from __future__ import annotations

from typing import ClassVar

from django.db import models


class SheetPrint(models.Model):
    """One printing of a day's sheet, with the plan as it stood on it."""

    site = models.ForeignKey("shared.Site", models.CASCADE, related_name="+")
    day = models.DateField()
    printed_at = models.DateTimeField()
    by = models.ForeignKey("shared.User", models.PROTECT, null=True, related_name="+")
    revision = models.CharField(max_length=60)
    planned = models.JSONField(default=dict, help_text="What was to be done, by what it is.")

    class Meta:
        ordering = ["-printed_at", "-id"]
        indexes: ClassVar = [models.Index(fields=["site", "day"], name="sheetprint_by_day")]

    def __str__(self) -> str:
        return f"Sheet of {self.day}, printed {self.printed_at:%Y-%m-%d %H:%M}"
