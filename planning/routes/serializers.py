"""REST forms of routes."""

from __future__ import annotations

from planning.routes.models import Route, RouteStep
from shared.api.serializers import StrictModelSerializer


class RouteStepSerializer(StrictModelSerializer):
    """One step; steps stand in the order of work for each half and phase."""

    class Meta:
        model = RouteStep
        fields = [
            "half",
            "phase",
            "name",
            "hands_min",
            "wait_min",
            "longest_wait_min",
            "skill",
            "hands",
            "holds_place",
            "oven_cycle",
            "coats",
            "materials",
            "checks",
            "source",
        ]


class RouteSerializer(StrictModelSerializer):
    """A route with its steps; sending `steps` replaces all of them."""

    steps = RouteStepSerializer(many=True)

    class Meta:
        model = Route
        fields = ["id", "code", "name", "kind", "steps", "etag"]
