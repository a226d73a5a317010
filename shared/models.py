"""All models of the shared package, gathered for Django."""

from shared.access.models import AccessToken, CompanyMembership, Membership, Site, User
from shared.api.models import IdempotencyKey
from shared.audit.models import AuditEntry
from shared.events.models import Event, FeedEnd, FeedPlace, NumberedObject, UnplacedEvent
from shared.hooks.models import Endpoint, HookAttempt, HookDelivery
from shared.mail.models import MailServer

__all__ = [
    "AccessToken",
    "AuditEntry",
    "CompanyMembership",
    "Endpoint",
    "Event",
    "FeedEnd",
    "FeedPlace",
    "HookAttempt",
    "HookDelivery",
    "IdempotencyKey",
    "MailServer",
    "Membership",
    "NumberedObject",
    "Site",
    "UnplacedEvent",
    "User",
]
