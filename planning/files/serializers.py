"""The JSON form of reading a file in."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from planning.files.loading import Done
from planning.files.sheets import BY_NAME
from shared.api import fields
from shared.api.serializers import StrictSerializer
from shared.api.uploads import UploadField


class ShopFileReadingSerializer(StrictSerializer):
    """A workbook (.xlsx), a CSV file, or a ZIP archive of CSV files named like their sheets."""

    file = UploadField()
    site = fields.SiteField()
    sheet = fields.ChoiceField(
        choices=list(BY_NAME), required=False,
        help_text="Of one CSV file, its sheet; left out, the file is named like it.",
    )  # fmt: skip
    trial = fields.YesNoField(
        required=False, default=False, help_text="Go through all rows and change nothing."
    )


class SheetCountSerializer(serializers.Serializer[Any]):
    """What became of the rows of one sheet."""

    sheet = serializers.CharField()
    new = serializers.IntegerField()
    changed = serializers.IntegerField()
    same = serializers.IntegerField()


class ShopFileReadSerializer(serializers.Serializer[Any]):
    """What a file brought, or would bring."""

    trial = serializers.BooleanField()
    sheets = SheetCountSerializer(many=True)


class FileColumnSerializer(serializers.Serializer[Any]):
    """One column of a sheet."""

    name = serializers.CharField()
    needed = serializers.BooleanField()
    form = serializers.CharField(help_text="What may stand in it.")
    about = serializers.CharField()


class FileSheetSerializer(serializers.Serializer[Any]):
    """One sheet of the file."""

    name = serializers.CharField()
    about = serializers.CharField()
    columns = FileColumnSerializer(many=True)


class FileSheetsSerializer(serializers.Serializer[Any]):
    """All sheets, in the order they are read."""

    sheets = FileSheetSerializer(many=True)


def shown(done: Done) -> dict[str, Any]:
    """Return what a file brought as JSON."""
    rows = [
        {"sheet": name, "new": one.new, "changed": one.changed, "same": one.same}
        for name, one in done.counts.items()
    ]
    return {"trial": done.trial, "sheets": rows}
