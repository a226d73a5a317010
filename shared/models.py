"""All models of the shared package, gathered for Django."""

from shared.access.models import AccessToken, Membership, Site, User
from shared.api.models import IdempotencyKey

__all__ = ["AccessToken", "IdempotencyKey", "Membership", "Site", "User"]
