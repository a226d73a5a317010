"""All models of the shared package, gathered for Django."""

from shared.access.models import AccessToken, CompanyMembership, Membership, Site, User
from shared.api.models import IdempotencyKey
from shared.audit.models import AuditEntry
from shared.events.models import Event, FeedEnd, FeedPlace, NumberedObject, UnplacedEvent
from shared.hooks.models import Endpoint, HookAttempt, HookDelivery
from shared.mail.models import MailServer
from shared.sign_in.models import AskedPassword, SecondStep, SignedIn, SpareCode

__all__ = [
    "AccessToken",
    "AskedPassword",
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
    "SecondStep",
    "SignedIn",
    "Site",
    "SpareCode",
    "UnplacedEvent",
    "User",
]
