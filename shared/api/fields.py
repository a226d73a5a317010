"""
Fields that read what they say and nothing else.

Quantities are decimal strings with the unit in the field's name; numbers are read too, but kept
exact. What does not fit is refused, never rounded. Moments need an offset.
"""

from __future__ import annotations

import re
from datetime import UTC, date, datetime, time
from decimal import Decimal
from typing import Any

from django.apps import apps
from drf_spectacular.extensions import OpenApiSerializerFieldExtension
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.exceptions import ErrorDetail

from shared import clock, times
from shared.access.models import Site
from shared.access.ownership import owners_path_of, site_path_of
from shared.api.access import access_of
from shared.units import unit_of_name

_DECIMAL = re.compile(r"-?\d{1,30}(\.\d{1,30})?")
MOMENT = re.compile(r"\d{4}-\d{2}-\d{2}[Tt]\d{2}:\d{2}:\d{2}(\.\d{1,6})?([Zz]|[+-]\d{2}:\d{2})")
_DAY = re.compile(r"\d{4}-\d{2}-\d{2}")
_CLOCK = re.compile(r"\d{2}:\d{2}(:\d{2})?")
_ID = re.compile(r"[1-9][0-9]{0,17}")
ID_SCHEMA = {"type": "string", "pattern": "^[1-9][0-9]{0,17}$", "example": "17"}


class Code(str):
    """A code with the limit and unit its sentence speaks of; errors are copied, codes are not."""

    facts: dict[str, str | None]


def detail(sentence: str, code: str, limit: object = None, unit: str | None = None) -> ErrorDetail:
    """Return an error message with its figures for programs."""
    mark = Code(code)
    mark.facts = {"limit": None if limit is None else str(limit), "unit": unit}
    return ErrorDetail(sentence, mark)


def refuse(
    sentence: str, code: str, limit: object = None, unit: str | None = None
) -> serializers.ValidationError:
    """Return the error for one field, with figures for programs."""
    return serializers.ValidationError([detail(sentence, code, limit, unit)])


class TextField(serializers.CharField):
    """Text; numbers and booleans are not text. Null clears a field that may be empty."""

    def run_validation(self, data: Any = serializers.empty) -> Any:
        """Read null as empty where empty is allowed (RFC 7396 clears with null)."""
        if data is None and not self.allow_null and self.allow_blank:
            data = ""
        return super().run_validation(data)

    def to_internal_value(self, data: Any) -> str:
        """Return the text as it came, without spaces at its ends."""
        if not isinstance(data, str):
            raise refuse("must be text in quotes.", "not_text")
        return super().to_internal_value(data)


class WholeField(serializers.IntegerField):
    """A whole number, not text and not a fraction."""

    def to_internal_value(self, data: Any) -> int:
        """Return the number."""
        if isinstance(data, bool) or not isinstance(data, int):
            raise refuse("must be a whole number, without quotes.", "not_whole")
        return super().to_internal_value(data)


class YesNoField(serializers.BooleanField):
    """`true` or `false`, nothing that merely looks like it."""

    def to_internal_value(self, data: Any) -> bool:
        """Return the answer."""
        if not isinstance(data, bool):
            raise refuse("must be true or false, without quotes.", "not_boolean")
        return data


class ChoiceField(serializers.ChoiceField):
    """One word of a list."""

    def to_internal_value(self, data: Any) -> Any:
        """Return the word; the list stands in the message."""
        if isinstance(data, str) and (data in self.choices or (data == "" and self.allow_blank)):
            return data
        listed = ", ".join(str(word) for word in self.choices)
        raise refuse(f"is not one of: {listed}.", "not_a_choice", limit=listed)


class DecimalField(serializers.DecimalField):
    """An exact decimal, as text or number; unit and limits are named in what it refuses."""

    def validate_empty_values(self, data: Any) -> tuple[bool, Any]:
        """Take null alone as no figure; an empty text is no decimal."""
        return serializers.Field.validate_empty_values(self, data)

    def to_internal_value(self, data: Any) -> Decimal:
        """Return the decimal, refusing NaN, exponents and digits that do not fit."""
        unit = unit_of_name(self.field_name or "")
        if isinstance(data, bool) or not isinstance(data, str | int | Decimal):
            raise refuse('must be a decimal such as "12.5".', "not_decimal", unit=unit)
        text = data if isinstance(data, str) else format(Decimal(data), "f")
        if not _DECIMAL.fullmatch(text) or not text.isascii():
            raise refuse(
                'must be a decimal such as "12.5", with a point and without an exponent.',
                "not_decimal",
                unit=unit,
            )
        value = Decimal(text)
        after = len(text.partition(".")[2])
        before = len(text.partition(".")[0].lstrip("-").lstrip("0"))
        if self.decimal_places is not None and after > self.decimal_places:
            raise refuse(
                f"has {after} digits after the point; at most {self.decimal_places} are kept, "
                "and nothing is rounded here.",
                "too_many_decimals",
                limit=self.decimal_places,
            )
        room = (self.max_digits or 30) - (self.decimal_places or 0)
        if before > room:
            raise refuse(
                f"has {before} digits before the point; at most {room} fit.",
                "too_large",
                limit="9" * room,
                unit=unit,
            )
        return self.quantize(value)


class MomentField(serializers.DateTimeField):
    """A moment in RFC 3339, offset included; answered in UTC."""

    def to_internal_value(self, value: Any) -> datetime:
        """Return the moment; a clock time without offset is refused."""
        if not isinstance(value, str) or not MOMENT.fullmatch(value) or not value.isascii():
            raise refuse(
                "must be a moment with offset such as 2026-11-30T07:30:00+01:00.", "not_a_moment"
            )
        try:
            moment = datetime.fromisoformat(value.upper())
            return moment.astimezone(UTC)
        except (ValueError, OverflowError):
            raise refuse("names a day or time that does not exist.", "not_a_moment") from None

    def to_representation(self, value: datetime | str | None) -> Any:
        """Return the moment in UTC, marked Z."""
        if value is None or isinstance(value, str):
            return value
        return value.astimezone(UTC).isoformat().replace("+00:00", "Z")


class HappenedField(MomentField):
    """A moment at which something happened: neither ahead of now nor before all records."""

    def to_internal_value(self, value: Any) -> datetime:
        """Return the moment; what it must follow or precede is the action's to judge."""
        moment, now = super().to_internal_value(value), clock.now()
        if fault := times.out_of_time(moment, now):
            code, limit, words = fault
            raise refuse(f"{words.removeprefix('it ')}.", code, limit.isoformat())
        return moment


class PlannedField(MomentField):
    """A moment that may lie ahead, within what a shop plans for."""

    def to_internal_value(self, value: Any) -> datetime:
        """Return the moment; what it must follow or precede is the action's to judge."""
        moment, now = super().to_internal_value(value), clock.now()
        if fault := times.out_of_plan(moment, now):
            code, limit, words = fault
            raise refuse(f"{words.removeprefix('it ')}.", code, limit.isoformat())
        return moment


class DayField(serializers.DateField):
    """A day, 2026-11-30."""

    def to_internal_value(self, value: Any) -> date:
        """Return the day."""
        if not isinstance(value, str) or not _DAY.fullmatch(value) or not value.isascii():
            raise refuse("must be a day such as 2026-11-30.", "not_a_day")
        try:
            return date.fromisoformat(value)
        except ValueError:
            raise refuse("names a day that does not exist.", "not_a_day") from None


@extend_schema_field({"type": "string", "pattern": "^[0-9]{2}:[0-9]{2}(:[0-9]{2})?$"})
class ClockField(serializers.TimeField):
    """What the clock on the wall shows, 06:30; seconds may follow."""

    def to_internal_value(self, value: Any) -> time:
        """Return the time of day."""
        if not isinstance(value, str) or not _CLOCK.fullmatch(value) or not value.isascii():
            raise refuse("must be a time of day such as 06:30.", "not_a_time")
        try:
            return time.fromisoformat(value)
        except ValueError:
            raise refuse("is a time of day that does not exist.", "not_a_time") from None


@extend_schema_field(ID_SCHEMA)
class IdField(serializers.Field):
    """The id of a row: text that callers keep and do not read."""

    def to_representation(self, value: Any) -> str:
        """Return the id as text."""
        return str(value)

    def to_internal_value(self, data: Any) -> int:
        """Return the key behind the id."""
        if not isinstance(data, str) or not _ID.fullmatch(data) or not data.isascii():
            raise refuse('must be an id in quotes, such as "17".', "not_an_id")
        return int(data)


@extend_schema_field(ID_SCHEMA)
class RelatedIdField(serializers.PrimaryKeyRelatedField):
    """
    A link to another row by its id.

    Rows at whose own site the caller does not hold the very scope of the call are unknown to
    them, and in a change of a row those of other sites than its own. A row of the other app is
    named as `model="shop.Tool"`, since its class may not be imported.
    """

    def __init__(self, *, model: str | None = None, **kwargs: Any) -> None:
        self.model = model
        if model is not None:
            kwargs["queryset"] = True  # only marks the field as one that is read
        super().__init__(**kwargs)

    def get_queryset(self) -> Any:
        """Return the rows the caller may name in this call."""
        if self.model is not None:
            rows = apps.get_model(self.model)._default_manager.all()
        else:
            rows = super().get_queryset()
        request = self.context.get("request")
        if rows is None or request is None or site_path_of(rows.model) is None:
            return rows
        if owner := owners_path_of(rows.model):
            rows = rows.select_related(owner)
        return _rows_of_call(rows, self.context)

    def run_validation(self, data: Any = serializers.empty) -> Any:
        """Take null alone as no row; an empty text is no id."""
        return serializers.Field.run_validation(self, data)

    def use_pk_only_optimization(self) -> bool:
        """Answer links without reading the other row."""
        return True

    def to_representation(self, value: Any) -> str:
        """Return the id as text."""
        return str(value.pk)

    def to_internal_value(self, data: Any) -> Any:
        """Return the row behind the id."""
        key = IdField().to_internal_value(data)
        rows = self.get_queryset()
        try:
            return rows.get(pk=key)
        except rows.model.DoesNotExist:
            raise refuse("is not the id of anything here.", "does_not_exist") from None


def _rows_of_call(rows: Any, context: Any) -> Any:
    """Return the rows that a call may name: where its scope is held, and of its address's site."""
    from shared.api.permissions import scope_of

    view, request = context["view"], context["request"]
    found = access_of(request).rows(rows, scope_of(view, request.method))
    site = getattr(view, "site_of_address", None)
    return found if site is None else found.filter(**{str(site_path_of(rows.model)): site})


@extend_schema_field({"type": "string", "example": "main"})
class SiteField(serializers.Field):
    """
    The site, by its code; may be left out by a caller who has only one.

    The caller must hold the view's scope there.
    """

    def __init__(self, **kwargs: Any) -> None:
        # A code that must be unique at its site would have the site called required.
        super().__init__(**kwargs | {"required": False})

    def run_validation(self, data: Any = serializers.empty) -> Any:
        """Fill in the only site when none is named and nothing exists yet."""
        if data is serializers.empty and not getattr(self.root, "partial", False):
            sites = self._sites()
            if len(sites) != 1:
                codes = ", ".join(sorted(site.code for site in sites))
                raise refuse(f"is missing; name one of your sites: {codes}.", "required")
            return sites[0]
        return super().run_validation(data)

    def to_internal_value(self, data: Any) -> Site:
        """Return the site of a code."""
        for site in self._sites():
            if site.code == data:
                return site
        codes = ", ".join(sorted(site.code for site in self._sites()))
        raise refuse(f"is none of your sites: {codes}.", "does_not_exist")

    def to_representation(self, value: Site) -> str:
        """Return the code."""
        return value.code

    def _sites(self) -> list[Site]:
        return list(_rows_of_call(Site.objects.all(), self.context))


class _TextSchema(OpenApiSerializerFieldExtension):
    target_class = TextField
    match_subclasses = True

    def map_serializer_field(self, auto_schema: Any, direction: str) -> dict[str, Any]:
        schema = auto_schema._map_serializer_field(self.target, direction, bypass_extensions=True)
        # The caller of this adds null where a field may be null; here it is added where null is
        # read as empty.
        schema["type"] = "string"
        if direction == "request" and self.target.allow_blank and not self.target.allow_null:
            schema["nullable"] = True
        return schema


def unit_words(name: str) -> str:
    """Return in which unit a field is, by the end of its name; empty where it tells none."""
    unit = unit_of_name(name)
    return f"in {unit}" if unit else ""


def bounds_words(low: Any, high: Any) -> str:
    """Return between which values a field must be, in words; empty where nothing holds it."""
    if low is not None and high is not None:
        return f"{low} to {high}"
    if low is not None:
        return f"{low} or more"
    return f"{high} or less" if high is not None else ""


class _DecimalSchema(OpenApiSerializerFieldExtension):
    target_class = DecimalField

    def map_serializer_field(self, auto_schema: Any, direction: str) -> dict[str, Any]:
        field = self.target
        places = field.decimal_places if field.decimal_places is not None else 10
        room = max((field.max_digits or 20) - places, 1)
        point = rf"(\.[0-9]{{1,{places}}})?" if places else ""
        schema: dict[str, Any] = {
            "type": "string",
            "pattern": rf"^-?[0-9]{{1,{room}}}{point}$",
            "example": f"1.{'0' * min(places, 3)}" if places else "1",
        }
        words = [
            unit_words(field.field_name or ""),
            bounds_words(field.min_value, field.max_value),
        ]
        if said := "; ".join(word for word in words if word):
            schema["description"] = f"Decimal, {said}."
        if direction == "response":
            return schema
        bounds = {"type": "number"}
        return {"anyOf": [schema, bounds]}
