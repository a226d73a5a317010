"""REST: tokens made, made narrower, given new secrets and taken back."""

from __future__ import annotations

from typing import Any, ClassVar

from drf_spectacular.utils import extend_schema
from rest_framework.decorators import action
from rest_framework.response import Response

from shared.access import actions, queries, token_actions
from shared.access import token_serializers as forms
from shared.access.models import AccessToken, User
from shared.api import viewsets
from shared.errors import Invalid


class TokenViewSet(
    viewsets.ListMixin, viewsets.RetrieveMixin, viewsets.PatchMixin, viewsets.SiteViewSet
):
    """
    Tokens of other systems at the sites you run.

    None can be made wider than its maker, for another site or for longer. An answer with a secret
    is not kept for a repeat, so these calls take no Idempotency-Key: when an answer is lost, look
    the token up and give it a new secret, or take it back.
    """

    queryset = AccessToken.objects.select_related("owner").prefetch_related("sites")
    serializer_class = forms.TokenSerializer
    read_serializer_class = forms.TokenSerializer
    scope_noun = "accounts"
    key_required = False
    filterset_fields: ClassVar = {"owner__username": ["exact"]}
    sort_fields = ("created_at", "id")

    def get_queryset(self) -> Any:
        """Return tokens that open no site at which the caller lacks the scope."""
        rows = super().get_queryset()
        if getattr(self, "swagger_fake_view", False):
            return rows
        return queries.tokens_within(rows, self.access.sites_with(self.scope))

    def get_serializer_class(self) -> Any:
        """Read changes by their own form."""
        kinds = {
            "create": forms.NewTokenSerializer,
            "partial_update": forms.NarrowerTokenSerializer,
        }
        return kinds.get(self.action) or super().get_serializer_class()

    @extend_schema(responses={201: forms.TokenSecretSerializer})
    def create(self, request: Any) -> Response:
        """Make a token; the answer holds its secret, which is not shown again."""
        body = self._body()
        owner = self._owner(body.pop("owner", None))
        body.setdefault("expires_at", None)
        token_actions.check_covers(
            self.access, own=request.auth, **{k: v for k, v in body.items() if k != "name"}
        )
        token, secret = actions.issue_token(owner=owner, by=request.user, **body)
        return self._with_secret(token, secret)

    @extend_schema(request=forms.NarrowerTokenSerializer, responses=forms.TokenSerializer)
    def partial_update(self, request: Any, *args: Any, **kwargs: Any) -> Response:
        """Leave a token fewer scopes, fewer sites or less time; it cannot be widened."""
        return super().partial_update(request, *args, **kwargs)

    def perform_update(self, serializer: Any) -> None:
        """Make the token narrower."""
        row = token_actions.narrow(
            token=serializer.instance, access=self.access, **serializer.validated_data
        )
        serializer.instance = self.get_queryset().get(pk=row.pk)

    @extend_schema(request=forms.RotationSerializer, responses={201: forms.TokenSecretSerializer})
    @action(detail=True, methods=["post"], serializer_class=forms.RotationSerializer)
    def rotations(self, request: Any, pk: Any = None) -> Response:
        """Give a token a new secret; the one before is taken for some hours more."""
        row, body = self.get_object(), self._body()
        secret = token_actions.rotate(token=row, access=self.access, **body)
        return self._with_secret(row, secret)

    @extend_schema(request=forms.RevocationSerializer, responses={201: forms.TokenSerializer})
    @action(detail=True, methods=["post"], serializer_class=forms.RevocationSerializer)
    def revocations(self, request: Any, pk: Any = None) -> Any:
        """Take a token back for good; a second time changes nothing."""
        row = self.get_object()
        return self.once(lambda _: token_actions.revoke(token=row, access=self.access))

    def _body(self) -> dict[str, Any]:
        form = self.get_serializer(data=self.request.data)
        form.is_valid(raise_exception=True)
        return dict(form.validated_data)

    def _owner(self, username: str | None) -> User:
        if username is None:
            return self.request.user
        found = queries.people_at(self.access.sites_with(self.scope)).filter(username=username)
        if owner := found.first():
            return owner
        words = f"owner is {username[:60]!r}; nobody of that name belongs to a site you run."
        raise Invalid.one("owner", "does_not_exist", words)

    def _with_secret(self, token: AccessToken, secret: str) -> Response:
        context = {**self.get_serializer_context(), "secret": secret}
        shown = forms.TokenSecretSerializer(token, context=context).data
        return Response(shown, 201, headers={"Cache-Control": "no-store"})
