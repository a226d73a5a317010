"""All models of the shared package, gathered for Django."""

from shared.access.models import AccessToken, CompanyMembership, Membership, Site, User
from shared.api.models import IdempotencyKey
from shared.audit.models import AuditEntry

__all__ = [
    "AccessToken",
    "AuditEntry",
    "CompanyMembership",
    "IdempotencyKey",
    "Membership",
    "Site",
    "User",
]
