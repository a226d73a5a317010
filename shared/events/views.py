"""REST: the feed of events, for systems that cannot be called."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.response import Response
from rest_framework.utils.urls import replace_query_param

from shared.api import pagination, viewsets
from shared.api.problems import BadParameter
from shared.events import placing, queries
from shared.events.kinds import EventKind, ObjectKind
from shared.events.serializers import FeedSerializer

KINDS = ", ".join(EventKind.values)
OBJECT = f"^({'|'.join(ObjectKind.values)}):[0-9]{{1,18}}$"
PARAMETERS = [
    OpenApiParameter(
        "after",
        {"type": "string", "pattern": "^[0-9]{1,18}$"},
        description="The cursor of the last answer; the whole feed without it.",
    ),
    OpenApiParameter(
        "limit",
        {"type": "integer", "minimum": 1, "maximum": pagination.MOST},
        description=f"How many at most; {pagination.USUAL} without it.",
    ),
    OpenApiParameter("site", str, description="Code of the site; all your sites without it."),
    OpenApiParameter("kinds", str, description=f"Comma-separated, of: {KINDS}."),
    OpenApiParameter(
        "object",
        {"type": "string", "pattern": OBJECT},
        description="One object as kind:id, such as order:17.",
    ),
    OpenApiParameter(
        "customer_reference", str, description="The ordering system's own name for an order."
    ),
]


class EventFeed(viewsets.ScopedView):
    """
    What happened at your sites, in an order that never changes.

    Keep `cursor` of each answer and ask with `after` for what follows: an event that was
    committed late stands behind what you have read, never before it.
    """

    scope_noun = "events"
    serializer_class = FeedSerializer
    pagination_class = None
    filter_backends = []
    extra_parameters = ("after", "limit", "site", "kinds", "object", "customer_reference")

    @extend_schema(operation_id="events_list", parameters=PARAMETERS, responses=FeedSerializer)
    def get(self, request: Any) -> Response:
        """Return the events behind a cursor."""
        asked = request.query_params
        page_of = self._page_of()
        placing.place_waiting()
        page = queries.behind(
            after=_whole("after", asked.get("after", "0")),
            limit=pagination.limit_of(request),
            **page_of,
        )
        address = request.build_absolute_uri(request.get_full_path())
        following = replace_query_param(address, "after", page.after)
        answer = {
            "items": [place.event.message() for place in page.places],
            "cursor": str(page.after),
            "more": page.more,
            "next": following,
        }
        return Response(answer, headers={"Link": f'<{following}>; rel="next"'})

    def _page_of(self) -> dict[str, Any]:
        asked = self.request.query_params
        code = asked.get("site")
        sites = self.access.sites_with(self.scope) if code is None else [self.site(code).pk]
        only: dict[str, Any] = {"site_ids": sites}
        if "kinds" in asked:
            only["event__kind__in"] = _kinds(asked["kinds"])
        if "object" in asked:
            kind, _, pk = asked["object"].partition(":")
            if kind not in ObjectKind.values or not (pk.isascii() and pk.isdigit()):
                raise _bad("object", asked["object"], "give kind:id, such as order:17")
            only |= {"event__object_kind": kind, "event__object_id": pk}
        if "customer_reference" in asked:
            only["event__reference"] = asked["customer_reference"]
        return only


def _kinds(text: str) -> list[str]:
    kinds = text.split(",")
    if unknown := [kind for kind in kinds if kind not in EventKind.values]:
        raise _bad("kinds", ", ".join(unknown), f"known are {KINDS}")
    return kinds


def _whole(name: str, text: str) -> int:
    if not (text.isascii() and text.isdigit() and len(text) <= 18):
        raise _bad(name, text, "give the cursor of an answer of this feed")
    return int(text)


def _bad(name: str, value: str, words: str) -> BadParameter:
    detail = f"{name} is {value[:80]!r}; {words}."
    return BadParameter([{"parameter": name, "code": "invalid", "detail": detail}])
