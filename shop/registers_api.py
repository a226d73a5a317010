"""What the REST views of the registers share: the models' checks, and prices for few eyes."""

from __future__ import annotations

from decimal import Decimal
from typing import Any, ClassVar

from drf_spectacular.utils import extend_schema
from rest_framework.decorators import action
from rest_framework.exceptions import ValidationError
from rest_framework.response import Response

from shared import clock
from shared.api import fields, idempotency, viewsets
from shared.api.access import access_of
from shop.catalogue.actions import propose
from shop.catalogue.serializers import CatalogueChangeSerializer, ProposalSerializer
from shop.registers import change, enter, remove


def above_zero(value: Any) -> None:
    """Refuse zero and less."""
    if value is not None and value <= 0:
        raise fields.refuse("must be above 0.", "too_small", limit=0)


def not_below_zero(value: Any) -> None:
    """Refuse less than zero."""
    if value is not None and value < 0:
        raise fields.refuse("must be 0 or more.", "too_small", limit=0)


def between(low: float, high: float, unit: str) -> Any:
    """Return a validator that refuses what lies outside two limits."""

    def check(value: Any) -> None:
        if value is not None and not low <= value <= high:
            words = f"must be {low:g} to {high:g} {unit}."
            raise fields.refuse(words, "out_of_range", f"{low:g} to {high:g}", unit)

    return check


def plain_numbers(value: Any) -> Any:
    """Return JSON data with decimals as numbers, the form in which it is stored."""
    if isinstance(value, dict):
        return {name: plain_numbers(member) for name, member in value.items()}
    if isinstance(value, list):
        return [plain_numbers(member) for member in value]
    return float(value) if isinstance(value, Decimal) else value


class PricesForFew:
    """A serializer whose `price_fields` are absent for, and refused from, who may not see them."""

    price_fields: ClassVar[tuple[str, ...]] = ()

    def to_representation(self, row: Any) -> Any:
        """Leave prices out for those who have no business with them."""
        shown = super().to_representation(row)  # type: ignore[misc]
        if not self._may("prices:read", row):
            for name in self.price_fields:
                shown.pop(name, None)
        return shown

    def validate(self, attrs: Any) -> Any:
        """Refuse prices from those who may not set them."""
        row = getattr(self, "instance", None)
        wrong = [name for name in self.price_fields if name in attrs]
        if wrong and not self._may("prices:write", row):
            sentence = "needs prices:write; your role or token does not have it."
            raise fields.serializers.ValidationError(
                {name: [fields.detail(sentence, "prices_not_allowed")] for name in wrong}
            )
        return super().validate(attrs)  # type: ignore[misc]

    def _may(self, scope: str, row: Any) -> bool:
        request = self.context.get("request")  # type: ignore[attr-defined]
        if request is None:
            return False
        access = access_of(request)
        site = getattr(row, "site_id", None)
        if site is None and scope.endswith(":write"):
            return access.may_for_all(scope)
        return access.may(scope, site)


class RegisterViewSet(
    viewsets.ListMixin,
    viewsets.RetrieveMixin,
    viewsets.CreateMixin,
    viewsets.PatchMixin,
    viewsets.DeleteMixin,
    viewsets.SiteViewSet,
):
    """A register that people keep: add, read, change, and remove what nothing uses."""

    def perform_create(self, serializer: Any) -> None:
        """Add a row after the model's own checks."""
        serializer.instance = enter(serializer.Meta.model, **serializer.validated_data)

    def perform_update(self, serializer: Any) -> None:
        """Change a row after the model's own checks."""
        serializer.instance = change(serializer.instance, **serializer.validated_data)

    def perform_destroy(self, row: Any) -> None:
        """Take a row away."""
        remove(row)


class CatalogueViewSet(RegisterViewSet):
    """A register of what all sites work by; who changes it needs the right for all of them."""

    company_actions = viewsets.ALL_CHANGES


class GuardedViewSet(CatalogueViewSet):
    """A register whose values take a second signature where the company asks for one."""

    company_actions = viewsets.ALL_CHANGES | {"changes"}

    @extend_schema(request=ProposalSerializer, responses={201: CatalogueChangeSerializer})
    @action(detail=True, methods=["post"])
    def changes(self, request: Any, pk: Any = None) -> Any:
        """Propose a change that somebody else releases."""
        row = self.get_object()
        return idempotency.once(request, lambda: self._propose(row), required=True)

    def _propose(self, row: Any) -> Any:
        body = ProposalSerializer(data=self.request.data, context=self.get_serializer_context())
        body.is_valid(raise_exception=True)
        asked = dict(body.validated_data)
        values = self.get_serializer(row, data=asked.pop("values"), partial=True)
        try:
            values.is_valid(raise_exception=True)
        except ValidationError as error:
            raise ValidationError({"values": error.detail}) from error
        found = propose(
            row=row,
            values=values.validated_data,
            by=self.request.user,
            now=clock.now(),
            **asked,
        )
        return Response(CatalogueChangeSerializer(found).data, 201)
