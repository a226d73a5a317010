"""Changing who may do what: people, their roles, their tokens, new sites."""

from __future__ import annotations

from collections.abc import Collection
from datetime import datetime
from typing import Any

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.text import slugify

from shared import clock
from shared.access import queries
from shared.access.models import AccessToken, CompanyMembership, Membership, Role, Site, User
from shared.api.access import access_of_user
from shared.api.authentication import digest, new_secret
from shared.change import change
from shared.errors import Invalid, ShopError

SHOWN = 12
"""Characters of a token that are kept, to recognise it by."""


def add_site(*, code: str, name: str, time_zone: str, by: User, **values: Any) -> Site:
    """
    Open a site; whoever opens it is its administrator.

    Who held a role at every site so far keeps it for what belongs to all sites, and a token that
    was good for every site still is.
    """
    with transaction.atomic():
        tokens = list(queries.tokens_of_every_site())
        for user, role in queries.roles_at_every_site():
            CompanyMembership.objects.get_or_create(user_id=user, role=role)
        site = Site(code=code, name=name, time_zone=time_zone, **values)
        site.full_clean()
        site.save()
        Membership.objects.create(user=by, site=site, role=Role.ADMINISTRATOR)
        for token in tokens:
            token.sites.add(site)
    return site


@transaction.atomic
def found_shop(
    *,
    name: str,
    time_zone: str,
    username: str = "",
    password: str = "",
    code: str = "",
    by: User | None = None,
    **values: Any,
) -> tuple[Site, User]:
    """
    Open the first site of an empty installation, with its first administrator.

    Parameters
    ----------
    name, time_zone : str
        Of the shop; the zone by its IANA name.
    username, password : str
        Of the first administrator; left out when somebody `by` is there already.
    code : str, optional
        Short name of the site; made from the name when left out.

    Raises
    ------
    ShopError
        If there is a site already.
    Invalid, ValidationError
        If a field does not hold; nothing is kept then.
    """
    if Site.objects.exists():
        raise ShopError("This installation has a shop already; sign in to it.", "founded_already")
    code = code or slugify(name).upper()[:40].strip("-") or "SHOP"
    site = Site(code=code, name=name, time_zone=time_zone, is_default=True, **values)
    site.full_clean()
    site.save()
    if by is None:
        by = add_person(
            username=username, password=password, roles=[Role.ADMINISTRATOR], site=site
        )
    else:
        _set_roles(by, site, [Role.ADMINISTRATOR])
    return site, by


def change_site(site: Site, **values: Any) -> Site:
    """Change what is named; what the model forbids is refused in words."""
    for name, value in values.items():
        setattr(site, name, value)
    site.full_clean()
    site.save()
    return site


def check_may_change(person: User, by: User) -> None:
    """Refuse to touch somebody who also belongs to sites the other does not run."""
    if by.is_superuser:
        return
    access = access_of_user(by)
    strange = [s for s in queries.sites_of(person) if not access.may("accounts:write", s)]
    if strange or person.is_superuser:
        raise ShopError(
            f"{person} also belongs to sites you do not run; ask an administrator there.",
            "not_yours",
            403,
        )


@transaction.atomic
def add_person(
    *, username: str, password: str, roles: Collection[str], site: Site, **names: str
) -> User:
    """Let somebody sign in, with roles at one site."""
    if User.objects.filter(username__iexact=username).exists():
        raise Invalid.one("username", "taken", f"username {username!r} is taken; choose another.")
    person = User(username=username, **names)
    person.full_clean(exclude=["password"])
    _set_password(person, password)
    person.save()
    _set_roles(person, site, roles)
    return person


@transaction.atomic
def change_person(
    *, person: User, site: Site, roles: Collection[str], is_active: bool, by: User, **names: str
) -> User:
    """Change a person's names, roles at a site, and whether they may sign in."""
    loses_site = Role.ADMINISTRATOR not in roles or not is_active
    if loses_site and queries.is_last_administrator(person, site):
        raise ShopError(
            f"{person} is the last administrator of {site}; name another first.", "last_one"
        )
    if is_active != person.is_active or any(getattr(person, n) != v for n, v in names.items()):
        check_may_change(person, by)
    for name, value in names.items():
        setattr(person, name, value)
    person.is_active = is_active
    person.full_clean(exclude=["password"])
    person.save()
    _set_roles(person, site, roles)
    return person


@transaction.atomic
def set_company_roles(*, person: User, roles: Collection[str], by: User) -> None:
    """Give somebody roles for what belongs to all sites, and take the others away."""
    if not access_of_user(by).may_for_all("accounts:write"):
        raise ShopError(
            "Roles for all sites are given by who administers the company.", "not_yours", 403
        )
    _check_roles(roles)
    held = CompanyMembership.objects.filter(user=person)
    for row in held.exclude(role__in=roles):
        row.delete()
    for role in roles:
        CompanyMembership.objects.get_or_create(user=person, role=role)


def set_password(*, person: User, password: str, by: User) -> None:
    """Give somebody a new password; their other sign-ins end, since the cookie hangs on it."""
    check_may_change(person, by)
    _set_password(person, password)
    person.save(update_fields=["password"])


def _set_password(person: User, password: str) -> None:
    try:
        validate_password(password, person)
    except ValidationError as error:
        raise Invalid.one("password", "weak", " ".join(error.messages)) from error
    person.set_password(password)


def _check_roles(roles: Collection[str]) -> None:
    unknown = set(roles) - set(Role.values)
    if unknown:
        raise Invalid.one("roles", "unknown", f"There is no role {', '.join(sorted(unknown))}.")


def _set_roles(person: User, site: Site, roles: Collection[str]) -> None:
    _check_roles(roles)
    Membership.objects.filter(user=person, site=site).exclude(role__in=roles).delete()
    for role in roles:
        Membership.objects.get_or_create(user=person, site=site, role=role)


@transaction.atomic
def issue_token(
    *,
    owner: User,
    name: str,
    sites: Collection[Site],
    scopes: Collection[str],
    expires_at: datetime | None,
    by: User | None,
) -> tuple[AccessToken, str]:
    """
    Make a token; return it with the secret, which is not kept and cannot be shown again.

    Without `by` it is made by whoever runs the machine, who may do anything anyway.
    """
    now = clock.now()
    holder = access_of_user(owner)
    for site in sites:
        if by is not None and not access_of_user(by).may("accounts:write", site.pk):
            raise ShopError(f"You do not run {site}.", "not_yours", 403)
        beyond = sorted(scope for scope in scopes if not holder.may(scope, site.pk))
        if beyond:
            raise Invalid.one(
                "scopes",
                "beyond_owner",
                f"{owner} does not have {', '.join(beyond)} at {site}; a token may do no more "
                "than its owner.",
            )
    if not sites or not scopes:
        raise Invalid.one("scopes", "required", "Choose one site and one scope at least.")
    if expires_at is not None and expires_at <= now:
        raise Invalid.one(
            "expires_at", "past", f"expires_at is {expires_at:%Y-%m-%d}; it is past."
        )
    secret = new_secret()
    token = AccessToken.objects.create(
        owner=owner,
        name=name,
        prefix=secret[:SHOWN],
        digest=digest(secret),
        scopes=sorted(scopes),
        created_at=now,
        expires_at=expires_at,
    )
    token.sites.set(sites)
    return token, secret


def revoke_token(*, token: AccessToken, by: User) -> None:
    """Take a token back for good; a second time changes nothing."""
    access = access_of_user(by)
    sites = token.sites.values_list("pk", flat=True)
    if not all(access.may("accounts:write", site) for site in sites):
        raise ShopError(
            f"{token.name} also works at sites you do not run; ask an administrator there.",
            "not_yours",
            403,
        )
    if token.revoked_at is None:
        change(token, revoked_at=clock.now())
