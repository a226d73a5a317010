"""Parts of pages that need a little thought: states, cautions, the way round, codes to scan."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django import template
from django.conf import settings
from django.urls import NoReverseMatch, reverse
from django.utils.html import format_html
from django.utils.safestring import SafeString, mark_safe

from shared import hazard_statements
from shared.access.models import Site
from shared.bundles import address_of
from shared.codes.finding import code_of

register = template.Library()

SIGNS = {"good": "✓", "mind": "▲", "stop": "✕", "now": "▶", "past": "○", "": "•"}
TONES: dict[str, str] = {
    **dict.fromkeys(
        (
            "released", "confirmed", "in_service", "accept", "done", "ready", "demoulded",
            "poured", "sent", "delivered", "received", "ok", "weighed", "approved", "open_now",
        ),
        "good",
    ),
    **dict.fromkeys(
        (
            "quarantine", "waiting", "rework", "repair", "late", "soon", "due", "short", "draft",
            "asked", "proposed", "stale", "changed", "unplaced",
        ),
        "mind",
    ),
    **dict.fromkeys(
        (
            "held", "expired", "scrapped", "failed", "broken", "reject", "failing", "over",
            "missed", "refused",
        ),
        "stop",
    ),
    **dict.fromkeys(
        ("solving", "weighing", "mixing", "pouring", "curing", "casting", "now"), "now"
    ),
    **dict.fromkeys(
        ("finished", "replaced", "cancelled", "retired", "closed", "revoked", "past"), "past"
    ),
}  # fmt: skip
"""How each state of the shop sounds; one that is not listed is plain."""

WAYS = (
    ("Today", "today", "batches:read"),
    ("Week", "week", "plans:read"),
    ("Orders", "orders", "tool_orders:read"),
    ("Stock", "stock", "lots:read"),
    ("Ahead", "outlook", "requirements:read"),
    ("Tools", "tools", "tools:read"),
    ("Buying", "buying", "purchases:read"),
    ("Workbench", "workbench", "calculations:read"),
)
SIDE_WAYS = (
    ("Scan", "scan", "sites:read"),
    ("Patterns", "patterns", "tool_orders:read"),
    ("Trace", "trace", "trace:read"),
    ("Reminders", "reminders", "reminders:read"),
    ("Set-up", "setup", "sites:read"),
    ("People", "people", "accounts:read"),
    ("Who changed what", "audit", "audit:read"),
    ("Help", "help", ""),
    ("Own sign-in", "own-sign-in", ""),
    ("API", "api-docs", ""),
)
"""Label, name of the page, and the scope it asks for; what a person may not see is left out."""


@register.simple_tag
def bundle(name: str) -> str:
    """Return the address of a page's scripts or styles in one file."""
    return address_of(name)


@register.simple_tag
def state(code: str, words: str = "", tone: str = "") -> SafeString:
    """Show a state as a word with a sign."""
    tone = tone or TONES.get(str(code), "")
    text = words or str(code).replace("_", " ").capitalize()
    return format_html(
        '<span class="state state--{}"><span aria-hidden="true">{}</span> {}</span>',
        tone or "plain",
        SIGNS[tone],
        text,
    )


@register.inclusion_tag("parts/cautions.html")
def cautions(
    codes: Iterable[str], signal_word: str = "", sheet: str = "", folded: bool = False
) -> dict[str, Any]:
    """Show what the materials' data sheets warn of, and what to follow."""
    return {
        "lines": hazard_statements.lines(codes or ()),
        "signal_word": signal_word,
        "sheet": sheet,
        "open": not folded,
    }


@register.inclusion_tag("parts/ways.html", takes_context=True)
def ways(context: template.Context) -> dict[str, Any]:
    """List the main pages, the current one marked."""
    return {"ways": _open_ways(context, WAYS), "label": "Main"}


@register.inclusion_tag("parts/ways.html", takes_context=True)
def side_ways(context: template.Context) -> dict[str, Any]:
    """List the pages that are needed now and then."""
    return {"ways": _open_ways(context, SIDE_WAYS), "label": "More", "side": True}


def _open_ways(
    context: template.Context, listed: Iterable[tuple[str, str, str]]
) -> list[dict[str, Any]]:
    request = context.get("request")
    here = request.path if request else ""
    access = getattr(request, "access", None)
    found = []
    for label, name, scope in listed:
        if scope and access is not None and not access.may(scope):
            continue
        try:
            address = reverse(name)
        except NoReverseMatch:  # this installation has no such page
            continue
        found.append({"label": label, "address": address, "current": here.startswith(address)})
    return found


@register.inclusion_tag("parts/who.html", takes_context=True)
def who(context: template.Context) -> dict[str, Any]:
    """Show the site worked at, the other sites of this person, and who they are."""
    request = context.get("request")
    site = getattr(request, "site", None)
    access = getattr(request, "access", None)
    sites: list[Site] = []
    if access is not None and len(access.scopes_by_site) > 1:
        sites = list(Site.objects.filter(pk__in=access.scopes_by_site).order_by("code"))
    scan = _open_ways(context, [row for row in SIDE_WAYS if row[1] == "scan"])
    address = scan[0]["address"] if scan else ""
    return {"request": request, "site": site, "sites": sites, "scan": address}


@register.simple_tag
def is_sandbox() -> bool:
    """Tell whether this is the sandbox, in which nothing is real and nothing stays."""
    return settings.SANDBOX


@register.simple_tag
def short_code(kind: str, pk: int) -> str:
    """Return the short code of a row, for typing and for the address in its code."""
    return code_of(kind, pk)


@register.simple_tag
def qr(text: str, label: str = "", scale: int = 4) -> SafeString:
    """Draw a code to scan as SVG; made of ASCII text by a library, so it is safe to print."""
    import segno

    drawn = segno.make(str(text), error="m", micro=False).svg_inline(
        scale=scale, border=2, title=label or str(text), omitsize=True, light="#ffffff"
    )
    return mark_safe(drawn.replace("<svg", '<svg role="img"', 1))
