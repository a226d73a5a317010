"""All models of the shared package, gathered for Django."""

from shared.access.models import AccessToken, Membership, Site, User

__all__ = ["AccessToken", "Membership", "Site", "User"]
