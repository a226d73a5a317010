"""REST form of tokens."""

from __future__ import annotations

from typing import Any, ClassVar

from rest_framework import serializers

from shared.access.models import AccessToken, Site
from shared.api import fields
from shared.api.roles import SCOPES
from shared.api.serializers import StrictModelSerializer, StrictSerializer

LONGEST_OVERLAP_H = 168
SCOPE = [(scope, scope) for scope in sorted(SCOPES)]


class SiteCodesField(serializers.ListField):
    """Sites by their codes; codes nobody may name are refused by the action."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(child=fields.TextField(max_length=40), max_length=200, **kwargs)

    def to_internal_value(self, data: Any) -> list[Site]:
        """Return the sites of the codes."""
        codes = super().to_internal_value(data)
        found = {site.code: site for site in Site.objects.filter(code__in=codes)}
        if unknown := [code for code in codes if code not in found]:
            raise fields.refuse(f"names {unknown[0]!r}, which is no site.", "does_not_exist")
        return [found[code] for code in dict.fromkeys(codes)]

    def to_representation(self, data: Any) -> list[str]:
        """Return the codes in order."""
        return sorted(site.code for site in (data.all() if hasattr(data, "all") else data))


def _scopes(**kwargs: Any) -> serializers.ListField:
    words = "What it may do, such as lots:read; writing does not include reading."
    return serializers.ListField(
        child=fields.ChoiceField(SCOPE), max_length=len(SCOPES), help_text=words, **kwargs
    )


class TokenSerializer(StrictModelSerializer):
    """A token of another system, without its secret."""

    owner = serializers.CharField(
        source="owner.username", read_only=True, help_text="The account it acts for."
    )
    scopes = _scopes(read_only=True)
    sites = SiteCodesField(read_only=True, help_text="Codes of the sites it opens.")
    prefix = serializers.CharField(
        read_only=True, help_text="How it begins, to recognise it by; 12 characters."
    )

    class Meta:
        model = AccessToken
        fields: ClassVar = [
            "id", "owner", "name", "prefix", "scopes", "sites", "created_at", "expires_at",
            "revoked_at", "last_used_at", "old_secret_until", "version", "etag",
        ]  # fmt: skip
        read_only_fields = fields


class TokenSecretSerializer(TokenSerializer):
    """A token with its secret, shown this once."""

    secret = serializers.SerializerMethodField(
        help_text="Send it as Authorization: Bearer SECRET. Only its hash is kept."
    )

    class Meta(TokenSerializer.Meta):
        fields: ClassVar = [*TokenSerializer.Meta.fields, "secret"]
        read_only_fields = fields

    def get_secret(self, token: AccessToken) -> str:
        """Return the secret that was made in this call."""
        return str(self.context["secret"])


class NewTokenSerializer(StrictSerializer):
    """A token to be made: it may do what is named and nothing else."""

    one_site = False

    owner = fields.TextField(
        max_length=150,
        required=False,
        help_text="Account it acts for, by user name; your own without it.",
    )
    name = fields.TextField(max_length=120, help_text="Which system will hold it.")
    scopes = _scopes(allow_empty=False)
    sites = SiteCodesField(allow_empty=False, help_text="Codes of the sites it opens.")
    expires_at = fields.PlannedField(
        required=False, allow_null=True, help_text="Good until then; without it, for ever."
    )


class NarrowerTokenSerializer(StrictSerializer):
    """A token made narrower: what is named is all that is left."""

    one_site = False

    name = fields.TextField(max_length=120, required=False)
    scopes = _scopes(allow_empty=False, required=False)
    sites = SiteCodesField(
        allow_empty=False, required=False, help_text="Codes of the sites it still opens."
    )
    expires_at = fields.PlannedField(required=False, help_text="Earlier than now set.")


class RotationSerializer(StrictSerializer):
    """A new secret for a token; the one before stays good for a while."""

    overlap_h = fields.WholeField(
        required=False,
        default=24,
        min_value=0,
        max_value=LONGEST_OVERLAP_H,
        help_text="Hours, 0 to 168, for which the secret before is still taken; 24 without it.",
    )


class RevocationSerializer(StrictSerializer):
    """A body without members."""
