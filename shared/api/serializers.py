"""
Serializers that refuse what they do not know.

`StrictSerializer` and `StrictModelSerializer` are the only bases in use: a misspelt field is an
error, ids are text, and every field reads strictly. Business rules stay in actions.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import Any

from django.db import models
from rest_framework import serializers
from rest_framework.exceptions import ErrorDetail

from shared.access.ownership import site_id_of
from shared.api import fields
from shared.api.etags import etag

__all__ = ["BulkOf", "StrictModelSerializer", "StrictSerializer"]


@contextmanager
def _whole(serializer: Any) -> Iterator[None]:
    """Read a part of a row as a whole: a patch leaves out members of the row, not of its parts."""
    root = serializer.root
    patch = serializer is not root and root.partial
    if patch:
        root.partial = False
    try:
        yield
    finally:
        if patch:
            root.partial = True


class Strict:
    """
    Refuse members that are unknown or only to be read, and rows of two sites in one body.

    `one_site = False` says that a body lists things that have nothing to do with one another.
    """

    one_site = True

    def to_internal_value(self, data: Any) -> Any:
        """Name every member that does not belong, then read the others."""
        if isinstance(data, Mapping):
            known = self.fields
            wrong = {}
            for name in data:
                if name not in known:
                    wrong[name] = [self._unknown(known)]
                elif known[name].read_only:
                    wrong[name] = [fields.detail("can only be read.", "read_only")]
            if wrong:
                raise serializers.ValidationError(wrong)
        with _whole(self):
            values = super().to_internal_value(data)
        if self.one_site:
            self._check_one_site(values)
        return values

    def _check_one_site(self, values: Mapping[str, Any]) -> None:
        named = [(name, site_id_of(row)) for name, value in values.items() for row in _rows(value)]
        first = next((site for _, site in named if site is not None), None)
        wrong = {name for name, site in named if site not in (None, first)}
        if wrong:
            words = "belongs to another site; what is linked must all be of one site."
            raise serializers.ValidationError(
                {name: [fields.detail(words, "other_site")] for name in sorted(wrong)}
            )

    @staticmethod
    def _unknown(known: Mapping[str, Any]) -> ErrorDetail:
        names = ", ".join(name for name, field in known.items() if not field.read_only)
        return fields.detail(f"is not a field here; fields are {names}.", "unknown_field")


def _rows(value: Any) -> Iterator[models.Model]:
    """Yield the rows that a value of a body names, at any depth."""
    if isinstance(value, models.Model):
        yield value
    elif isinstance(value, Mapping | list | tuple):
        for part in value.values() if isinstance(value, Mapping) else value:
            yield from _rows(part)


class StrictSerializer(Strict, serializers.Serializer):
    """A serializer of plain values."""


class StrictModelSerializer(Strict, serializers.ModelSerializer):
    """
    A serializer of a model.

    `id` is text, links are ids as text, `site` is the site's code. A model with a `version` also
    answers `etag`, when listed in `Meta.fields`.
    """

    etag = serializers.SerializerMethodField()

    serializer_field_mapping = {
        **serializers.ModelSerializer.serializer_field_mapping,
        models.AutoField: fields.IdField,
        models.BigAutoField: fields.IdField,
        models.CharField: fields.TextField,
        models.TextField: fields.TextField,
        models.BooleanField: fields.YesNoField,
        models.DecimalField: fields.DecimalField,
        models.DateTimeField: fields.HappenedField,
        models.DateField: fields.DayField,
        models.TimeField: fields.ClockField,
        models.IntegerField: fields.WholeField,
        models.BigIntegerField: fields.WholeField,
        models.SmallIntegerField: fields.WholeField,
        models.PositiveIntegerField: fields.WholeField,
        models.PositiveBigIntegerField: fields.WholeField,
        models.PositiveSmallIntegerField: fields.WholeField,
    }
    serializer_related_field = fields.RelatedIdField
    serializer_choice_field = fields.ChoiceField

    def get_field_names(self, declared_fields: Any, info: Any) -> Any:
        """Let a serializer leave out the tag it has no version for."""
        declared = dict(declared_fields)
        if "etag" not in (getattr(self.Meta, "fields", None) or ()):
            declared.pop("etag", None)
        return super().get_field_names(declared, info)

    def get_etag(self, row: models.Model) -> str:
        """Return the tag to send back in If-Match."""
        return etag(row)

    def build_relational_field(self, field_name: str, relation_info: Any) -> Any:
        """Write the site as its code."""
        from shared.access.models import Site

        if relation_info.related_model is Site and not relation_info.to_many:
            return fields.SiteField, {}
        return super().build_relational_field(field_name, relation_info)

    def build_standard_field(self, field_name: str, model_field: Any) -> Any:
        """Drop the arguments that only the lenient decimal field knows."""
        kind, kwargs = super().build_standard_field(field_name, model_field)
        if kind is fields.IdField:
            kwargs = {"read_only": True}
        return kind, kwargs


def BulkOf(item: Any, most: int = 500) -> type[StrictSerializer]:
    """Return the serializer of `{"items": [...]}` with at most `most` items."""
    name = item.__name__.removesuffix("Serializer")
    return type(
        f"{name}BulkSerializer",
        (StrictSerializer,),
        {
            "items": item(many=True, allow_empty=False, max_length=most),
            "one_site": False,
            "__module__": item.__module__,
        },
    )
