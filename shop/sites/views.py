"""REST: people and their hours, mixers, scales, places, locations, temperatures."""

from __future__ import annotations

from typing import ClassVar

from shop.registers_api import RegisterViewSet
from shop.sites import models
from shop.sites import serializers as forms

THING_FILTERS = {"code": ["exact"], "in_use": ["exact"]}
THING_SORTS = ("code", "name", "id")


class PersonViewSet(RegisterViewSet):
    """People who work in the shop, whether or not they sign in."""

    queryset = models.Person.objects.prefetch_related("shifts")
    serializer_class = forms.PersonSerializer
    scope_noun = "sites"
    filterset_fields: ClassVar = THING_FILTERS
    sort_fields = THING_SORTS


class ShiftViewSet(RegisterViewSet):
    """Stretches of work, each week on one weekday."""

    queryset = models.Shift.objects.all()
    serializer_class = forms.ShiftSerializer
    scope_noun = "sites"
    versioned = False
    filterset_fields: ClassVar = {"person": ["exact"], "weekday": ["exact"]}


class DayChangeViewSet(RegisterViewSet):
    """Days that differ: away, or extra hours."""

    queryset = models.DayChange.objects.all()
    serializer_class = forms.DayChangeSerializer
    scope_noun = "availability"
    versioned = False
    filterset_fields: ClassVar = {"person": ["exact"], "day": ["exact", "gte", "lte"]}


class MixerViewSet(RegisterViewSet):
    """Mixers with their vessels."""

    queryset = models.Mixer.objects.all()
    serializer_class = forms.MixerSerializer
    scope_noun = "sites"
    filterset_fields: ClassVar = THING_FILTERS
    sort_fields = THING_SORTS


class ScaleViewSet(RegisterViewSet):
    """Scales with what they carry and the step they show."""

    queryset = models.Scale.objects.all()
    serializer_class = forms.ScaleSerializer
    scope_noun = "sites"
    filterset_fields: ClassVar = THING_FILTERS
    sort_fields = THING_SORTS


class PlaceViewSet(RegisterViewSet):
    """Benches, ovens and floor space."""

    queryset = models.Place.objects.all()
    serializer_class = forms.PlaceSerializer
    scope_noun = "sites"
    filterset_fields: ClassVar = {**THING_FILTERS, "kind": ["exact"]}
    sort_fields = THING_SORTS


class LocationViewSet(RegisterViewSet):
    """Shelves and stores."""

    queryset = models.Location.objects.all()
    serializer_class = forms.LocationSerializer
    scope_noun = "sites"
    filterset_fields: ClassVar = THING_FILTERS
    sort_fields = THING_SORTS


class ClosedDayViewSet(RegisterViewSet):
    """Days on which nobody works."""

    queryset = models.ClosedDay.objects.all()
    serializer_class = forms.ClosedDaySerializer
    scope_noun = "availability"
    versioned = False
    filterset_fields: ClassVar = {"day": ["exact", "gte", "lte"]}


class OutageViewSet(RegisterViewSet):
    """Times in which a mixer or a place is out of use."""

    queryset = models.Outage.objects.all()
    serializer_class = forms.OutageSerializer
    scope_noun = "availability"
    versioned = False
    filterset_fields: ClassVar = {
        "mixer": ["exact"],
        "place": ["exact"],
        "starts_at": ["gte", "lt"],
        "ends_at": ["gte", "lt"],
    }


class ExpectedTemperatureViewSet(RegisterViewSet):
    """Shop temperatures expected on single days."""

    queryset = models.ExpectedTemperature.objects.all()
    serializer_class = forms.ExpectedTemperatureSerializer
    scope_noun = "availability"
    versioned = False
    filterset_fields: ClassVar = {"day": ["exact", "gte", "lte"]}


class StorageSpellViewSet(RegisterViewSet):
    """How warm shelves really were."""

    queryset = models.StorageSpell.objects.all()
    serializer_class = forms.StorageSpellSerializer
    scope_noun = "lots"
    versioned = False
    filterset_fields: ClassVar = {"location": ["exact"]}
