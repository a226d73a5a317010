"""REST forms of patterns: handing one in, examining it again, using it for a pour."""

from __future__ import annotations

from rest_framework import serializers

from planning.patterns.actions import SETUP_FIELDS
from planning.patterns.models import PatternMesh
from planning.pours.models import Pour
from shared.api import fields
from shared.api.serializers import StrictModelSerializer, StrictSerializer
from shared.api.uploads import UploadField

FOUND = ["state", "refused_code", "refused_because", "took_s", "peak_mb"]
HANDED_IN = ["file_name", "size_bytes", "sha256", "handed_in_at", "read_at"]


class PatternSerializer(StrictModelSerializer):
    """A pattern with what was found out about it."""

    report = serializers.JSONField(read_only=True)

    class Meta:
        model = PatternMesh
        fields = [
            "id", "site", "name", *HANDED_IN, *SETUP_FIELDS, *FOUND, "report", "etag",
        ]  # fmt: skip
        read_only_fields = fields


class PatternRowSerializer(PatternSerializer):
    """A pattern in a list, without its long report."""

    class Meta(PatternSerializer.Meta):
        fields = [name for name in PatternSerializer.Meta.fields if name != "report"]
        read_only_fields = fields


class NewPatternSerializer(StrictModelSerializer):
    """A pattern as it is handed in, `multipart/form-data`."""

    file = UploadField(write_only=True)

    class Meta:
        model = PatternMesh
        fields = ["site", "file", "name", *SETUP_FIELDS]
        extra_kwargs = {"name": {"required": False}}


class SetupSerializer(StrictModelSerializer):
    """How a pattern is to be examined; what is left out stays as it was."""

    class Meta:
        model = PatternMesh
        fields = list(SETUP_FIELDS)
        extra_kwargs = {name: {"required": False} for name in SETUP_FIELDS}


class UseSerializer(StrictSerializer):
    """The pour that gets the casting of one half."""

    pour = fields.RelatedIdField(queryset=Pour.objects.all())
    half = fields.ChoiceField(choices=["A", "B"], default="A")
