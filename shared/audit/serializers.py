"""Entries of the audit, as JSON."""

from __future__ import annotations

from rest_framework import serializers

from shared.api.serializers import StrictModelSerializer
from shared.audit.models import AuditEntry


class AuditEntrySerializer(StrictModelSerializer):
    object_id = serializers.CharField(read_only=True)
    site = serializers.CharField(source="site.code", read_only=True, allow_null=True)
    before = serializers.DictField(read_only=True)
    after = serializers.DictField(read_only=True)

    class Meta:
        model = AuditEntry
        fields = [
            "id",
            "at",
            "username",
            "token",
            "request_id",
            "site",
            "action",
            "kind",
            "object_id",
            "name",
            "before",
            "after",
        ]
