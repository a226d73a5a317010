"""Sites and the caller, as JSON."""

from __future__ import annotations

from rest_framework import serializers

from shared.access.models import Site
from shared.api.serializers import StrictModelSerializer


class SiteSerializer(StrictModelSerializer):
    class Meta:
        model = Site
        fields = [
            "id", "code", "name", "time_zone", "expected_c", "legal_name", "address",
            "delivery_address", "contact", "tax_number", "version", "etag",
        ]  # fmt: skip


class SiteAccessSerializer(serializers.Serializer):
    site = serializers.CharField()
    name = serializers.CharField()
    time_zone = serializers.CharField()
    scopes = serializers.ListField(child=serializers.CharField())


class CallerSerializer(serializers.Serializer):
    username = serializers.CharField()
    name = serializers.CharField()
    token = serializers.CharField(allow_null=True, help_text="How the token used begins.")
    all_sites = serializers.ListField(
        child=serializers.CharField(), help_text="Scopes for what belongs to all sites."
    )
    sandbox = serializers.BooleanField(
        help_text="Whether nothing here is real and all is made anew each night."
    )
    sites = SiteAccessSerializer(many=True)
