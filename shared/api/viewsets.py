"""
The bases of every REST view: sites, scopes, tags, keys, pages.

A step's `views.py` looks like this::

    from shared.api import viewsets

    class LotViewSet(viewsets.ListMixin, viewsets.RetrieveMixin, viewsets.CreateMixin,
                     viewsets.PatchMixin, viewsets.SiteViewSet):
        # a docstring here becomes the description in the API

        queryset = Lot.objects.select_related("site", "material")
        serializer_class = LotSerializer            # a StrictModelSerializer
        scope_noun = "lots"                         # a noun of shared.api.roles
        filterset_fields = {"status": ["exact"]}    # or filterset_class; unknown names answer 400
        sort_fields = ("expires_on", "id")

        def perform_create(self, serializer):
            serializer.instance = actions.receive_lot(
                by=self.request.user, **serializer.validated_data
            )

        @action(detail=True, methods=["post"], serializer_class=ReleaseSerializer)
        def releases(self, request, pk=None):       # POST /api/v1/lots/17/releases
            return self.once(lambda body: actions.release(self.get_object(), **body))

and is registered in the app's `urls.py` on a `shared.api.router.Router`. A created row's answer
is written by `read_serializer_class` where that differs. POST needs an Idempotency-Key unless
the view says `key_required = False`; PATCH and DELETE need If-Match unless it says
`versioned = False`.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from typing import Any, ClassVar

from django.db.models import Model, QuerySet
from django.http import Http404
from rest_framework import mixins
from rest_framework.decorators import action
from rest_framework.generics import GenericAPIView
from rest_framework.permissions import SAFE_METHODS
from rest_framework.response import Response
from rest_framework.serializers import BaseSerializer
from rest_framework.viewsets import GenericViewSet

from shared.access.models import Site
from shared.access.ownership import site_path_of
from shared.api import etags, idempotency
from shared.api.access import Access, access_of
from shared.api.filters import FIELDS, KnownParameters
from shared.api.leaving import Leaving
from shared.api.parsing import MergePatch, StrictJson
from shared.api.permissions import scope_of
from shared.api.problems import BadParameter
from shared.api.serializers import BulkOf
from shared.retry import retried

bulk_of = cache(BulkOf)
ALL_CHANGES = frozenset({"create", "partial_update", "destroy"})


class Scoped:
    """What views with and without rows share: a scope, known parameters, one answer per key."""

    scope_noun: str
    scope_actions: ClassVar[dict[str, str]] = {}
    extra_parameters: ClassVar[tuple[str, ...]] = ()
    company_actions: ClassVar[frozenset[str]] = frozenset()
    """Actions that change what belongs to all sites, and need their scope for all of them."""
    personal_actions: ClassVar[dict[str, str]] = {}
    """Actions that are a person's judgement, closed to integrations, with words for each."""
    key_required = True
    leaving: Leaving | None = None
    """Said once where an address is to go: since when, and from when on it is gone."""
    site_of_address: int | None = None
    """The site of the row that a change names in its address; links in its body are of it too."""
    request: Any

    def action_name(self) -> str:
        """Return the action of this call, empty for a view without actions."""
        return getattr(self, "action", None) or ""

    @property
    def access(self) -> Access:
        """Return what the caller may do."""
        return access_of(self.request)

    @property
    def scope(self) -> str:
        """Return the scope this call needs."""
        return scope_of(self, self.request.method)

    def site(self, code: str | None = None) -> Site:
        """Return the site of a code, or the caller's only one; refuse others with a 400."""
        sites = self.access.rows(Site.objects.all(), self.scope)
        found = [site for site in sites if code in (None, site.code)]
        if len(found) == 1:
            return found[0]
        codes = ", ".join(site.code for site in sites)
        asked = "is missing" if code is None else f"is {code[:40]!r}"
        sentence = f"site {asked}; yours are: {codes}."
        raise BadParameter([{"parameter": "site", "code": "unknown", "detail": sentence}])

    def initial(self, request: Any, *args: Any, **kwargs: Any) -> None:
        """Let the caller in, then refuse parameters that mean nothing here."""
        super().initial(request, *args, **kwargs)  # type: ignore[misc]
        if not hasattr(self, request.method.lower()):
            return  # a 405 follows
        KnownParameters().filter_queryset(request, getattr(self, "queryset", None), self)  # type: ignore[arg-type]

    def finalize_response(self, request: Any, response: Any, *args: Any, **kwargs: Any) -> Any:
        """Tell in every answer, refusals too, that the address is to go."""
        answer = super().finalize_response(request, response, *args, **kwargs)  # type: ignore[misc]
        for name, value in self.leaving.headers(request).items() if self.leaving else ():
            answer[name] = f"{answer[name]}, {value}" if name in answer else value
        return answer

    def once(self, work: Callable[[dict[str, Any]], Any], status: int = 201) -> Any:
        """
        Read the body with the view's serializer, do the work once per key, answer its result.

        `work` gets the validated body and returns a row, or plain data when the view has no
        `read_serializer_class` for it.
        """
        return idempotency.once(
            self.request, lambda: self._work(work, status), required=self.key_required
        )

    def body(self, data: Any) -> Any:
        """Return what is read of a call's body; where documents are taken, JSON is made of one."""
        return data

    def _work(self, work: Callable[[dict[str, Any]], Any], status: int) -> Response:
        body = self.body(self.request.data)
        serializer = self.get_serializer(data=body)  # type: ignore[attr-defined]
        serializer.is_valid(raise_exception=True)
        return self.answer(work(serializer.validated_data), status)

    def answer(self, found: Any, status: int = 200) -> Response:
        """Return a row through the serializer for reading, plain data as it is."""
        if not isinstance(found, Model):
            return Response(found, status)
        kind = getattr(self, "read_serializer_class", None)
        if kind is None:
            kind = self.get_serializer_class()  # type: ignore[attr-defined]
        context = self.get_serializer_context()  # type: ignore[attr-defined]
        response = Response(kind(found, context=context).data, status)
        if hasattr(found, "version"):
            response["ETag"] = etags.etag(found)
        return response


class ScopedView(Scoped, GenericAPIView):
    """A view without rows of its own, such as a calculator or an outlook."""

    def get_queryset(self) -> Any:
        """Return nothing: there are no rows."""
        return Site.objects.none()


class SiteViewSet(Scoped, GenericViewSet):
    """Rows of the sites at which the caller holds the scope; all others do not exist."""

    sort_fields: tuple[str, ...] = ()
    versioned = True
    lookup_value_regex = "[1-9][0-9]{0,17}"
    read_serializer_class: type[BaseSerializer] | None = None

    def get_queryset(self) -> QuerySet[Any]:
        """Return the rows the caller may touch with this method."""
        rows = super().get_queryset()
        if getattr(self, "swagger_fake_view", False):
            return rows
        rows = self.access.rows(rows, self.scope)
        code = self.request.query_params.get("site") if self.action == "list" else None
        path = site_path_of(rows.model)
        if code is None or path is None:
            return rows
        return rows.filter(**{path: self.site(code).pk})

    def initial(self, request: Any, *args: Any, **kwargs: Any) -> None:
        """Let the caller in; before the body of a change is read, its row must be theirs."""
        super().initial(request, *args, **kwargs)
        changes = request.method not in SAFE_METHODS and hasattr(self, request.method.lower())
        if changes and "pk" in kwargs:
            rows = self.get_queryset().filter(pk=kwargs["pk"])
            found = list(rows.values_list(site_path_of(rows.model) or "pk", flat=True)[:1])
            if not found:
                raise Http404
            self.site_of_address = found[0] if site_path_of(rows.model) else None

    def get_parsers(self) -> list[Any]:
        """Read what an action names, a merge patch where a row is changed, else plain JSON."""
        if "parser_classes" in vars(self):
            return [kind() for kind in self.parser_classes]
        patch = getattr(self.request, "method", None) == "PATCH" or "partial" in (
            getattr(self, "action", None) or ""
        )
        return [MergePatch(), StrictJson()] if patch else [StrictJson()]

    def get_serializer(self, *args: Any, **kwargs: Any) -> Any:
        """Return the serializer, with only the fields asked for when reading."""
        serializer = super().get_serializer(*args, **kwargs)
        asked = self.request.query_params.get(FIELDS) if self.request else None
        if asked and self.request.method in SAFE_METHODS:
            _keep(getattr(serializer, "child", serializer), asked.split(","))
        return serializer

    def locked(self) -> Any:
        """Return the row of the address under lock; call inside a transaction."""
        row = self.get_object()
        type(row)._default_manager.select_for_update().filter(pk=row.pk).first()
        return self.get_object()


def _keep(serializer: Any, names: list[str]) -> None:
    unknown = [name for name in names if name not in serializer.fields]
    if unknown:
        sentence = (
            f"fields names {', '.join(unknown)[:80]!r}; known are {', '.join(serializer.fields)}."
        )
        raise BadParameter([{"parameter": FIELDS, "code": "unknown", "detail": sentence}])
    for name in set(serializer.fields) - set(names):
        serializer.fields.pop(name)


class ListMixin(mixins.ListModelMixin):
    """`GET /things`."""


class RetrieveMixin:
    """`GET /things/17`, with its tag; 304 when the caller has that version."""

    def retrieve(self: Any, request: Any, *args: Any, **kwargs: Any) -> Response:
        """Return one row."""
        row = self.get_object()
        response = Response(self.get_serializer(row).data)
        if hasattr(row, "version"):
            tag = etags.etag(row)
            if tag in etags.strong_tags(request.headers.get("If-None-Match", "")):
                response = Response(status=304)
            response["ETag"] = tag
        return response


class CreateMixin:
    """`POST /things`; `perform_create` calls the action and sets `serializer.instance`."""

    def create(self: Any, request: Any, *args: Any, **kwargs: Any) -> Any:
        """Make one row, once for each key."""
        return idempotency.once(request, self._create, required=self.key_required)

    def _create(self: Any) -> Response:
        serializer = self.get_serializer(data=self.request.data)
        serializer.is_valid(raise_exception=True)
        self.perform_create(serializer)
        response = self.answer(serializer.instance, 201)
        response["Location"] = self.request.build_absolute_uri(
            f"{self.request.path.rstrip('/')}/{serializer.instance.pk}"
        )
        return response

    def perform_create(self: Any, serializer: Any) -> None:
        """Store the row; steps with rules call their action here."""
        serializer.save()


class PatchMixin:
    """`PATCH /things/17` with If-Match; `perform_update` calls the action."""

    def partial_update(self: Any, request: Any, *args: Any, **kwargs: Any) -> Response:
        """Change what the body names."""
        return retried(self._patch)()

    def _patch(self: Any) -> Response:
        row = self.locked()
        if self.versioned:
            etags.check(self.request, row)
        seen = getattr(row, "version", None)
        serializer = self.get_serializer(row, data=self.request.data, partial=True)
        serializer.is_valid(raise_exception=True)
        self.perform_update(serializer)
        if seen is not None:
            # An action that raised the version itself is left alone.
            rows = type(row)._default_manager.filter(pk=row.pk, version=seen)
            rows.update(version=seen + 1)
            serializer.instance.refresh_from_db(fields=["version"])
        return self.answer(serializer.instance)

    def perform_update(self: Any, serializer: Any) -> None:
        """Store the change; steps with rules call their action here."""
        serializer.save()


class DeleteMixin:
    """`DELETE /things/17` with If-Match; `perform_destroy` calls the action."""

    def destroy(self: Any, request: Any, *args: Any, **kwargs: Any) -> Response:
        """Delete the row, unless others still use it."""
        return retried(self._delete)()

    def _delete(self: Any) -> Response:
        row = self.locked()
        if self.versioned:
            etags.check(self.request, row)
        self.perform_destroy(row)
        return Response(status=204)

    def perform_destroy(self: Any, row: Any) -> None:
        """Delete; steps with rules call their action here."""
        row.delete()


class BulkMixin:
    """
    `POST /things/bulk`, `{"items": [...]}`: all or nothing, at most 500.

    The view gives `perform_bulk(items)`, which returns the rows made from validated items.
    """

    def get_serializer_class(self: Any) -> Any:
        """Wrap the view's serializer for the bulk address."""
        kind = super().get_serializer_class()  # type: ignore[misc]
        return bulk_of(kind) if self.action == "bulk" else kind

    @action(detail=False, methods=["post"], filter_backends=[], pagination_class=None)
    def bulk(self: Any, request: Any) -> Any:
        """Make many rows in one transaction."""
        return idempotency.once(request, self._bulk, required=self.key_required)

    def _bulk(self: Any) -> Response:
        serializer = self.get_serializer(data=self.request.data)
        serializer.is_valid(raise_exception=True)
        rows = self.perform_bulk(serializer.validated_data["items"])
        kind = self.read_serializer_class or type(serializer.fields["items"].child)
        context = self.get_serializer_context()
        return Response({"items": kind(rows, many=True, context=context).data}, 201)
