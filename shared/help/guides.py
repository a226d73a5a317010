"""Guides: how one begins, and a card for each role; each line may lead to its page."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Line:
    """One thing to do, and the page it is done on."""

    words: str
    page: str = ""
    label: str = ""
    slug: str = ""
    """Register of the set-up that `page` opens."""


@dataclass(frozen=True)
class Guide:
    """A page of things to do, in their order."""

    slug: str
    title: str
    about: str
    lines: tuple[Line, ...]
    cautions: tuple[str, ...] = ()


def _register(words: str, slug: str, label: str) -> Line:
    return Line(words, "setup-register", label, slug)


SKIN = "Gloves and goggles on before a can is opened; what the safety data sheet says comes first."
HOT = "A pot gets hot: tap Hot pot on its page and do what it says. The day's sheet says it too."
SHUT = "A casting the page calls shut stays shut, whatever it feels like."

GUIDES: tuple[Guide, ...] = (
    Guide(
        "first-day", "The first day", "From an empty shop to the first printed sheet.",
        (
            Line("Set-up says at its top what a first plan still lacks; each line leads to its "
                 "field.", "setup", "Set-up"),
            _register("Enter who works here, what each can do, and the hours.", "people",
                      "People who work here"),
            _register("Enter the mixer with its largest batch, and the scale with its step.",
                      "mixers", "Mixers"),
            _register("Enter benches, and ovens with their temperature.", "places",
                      "Benches, ovens and floor"),
            _register("Enter resin and hardener as materials, with the hazard statements of "
                      "their safety data sheets.", "materials", "Materials"),
            _register("Enter the resin system from its data sheet. The page shows what the "
                      "values come to before you save.", "resin-systems", "Resin systems"),
            Line("Take in what lies in the store, can by can or from a file.", "goods-in",
                 "Goods in"),
            Line("Print labels, so that cans can be scanned.", "labels", "Labels"),
            Line("Enter an order: the tool, its route, its sizes and its due date.", "order-new",
                 "New order"),
            Line("Plan, look at the comparison, confirm.", "week", "Week"),
            Line("Print the sheet for tomorrow.", "today", "Today"),
        ),
    ),
    Guide(
        "first-month", "The first month", "What makes the plan fit the shop.",
        (
            Line("Put a sensor into a casting and enter what it reads: the clock of that casting "
                 "then knows, instead of waiting on the late side.", "today", "Today"),
            Line("Try a small pot of each system and enter its temperatures, so that its pot "
                 "life is your own.", "workbench", "Workbench"),
            Line("Report who is away and what is out of use, when you know it.", "shop-changes",
                 "Report a change"),
            Line("Count one shelf each week.", "counts", "Counts"),
            Line("Enter suppliers with packs and prices, then let the shop work out what to "
                 "buy.", "suppliers", "Suppliers"),
            Line("Choose how you are told of a cure, an expiry, a late order.", "how-told",
                 "How I am told"),
            Line("Enter a mail server, if mail is to leave.", "mail", "Mail"),
            Line("Take a copy of the shop to another disk.", "copies", "Copies of the shop"),
        ),
    ),
    Guide(
        "first-year", "The first year", "What a shop finds out about itself.",
        (
            Line("Look at how long tools really last, by family, and at what is to be cast "
                 "anew.", "tool-families", "Tool families"),
            Line("Look at what was lost in pots and scrapped, and at what it cost.", "costs",
                 "Costs and losses"),
            Line("Try a recall: choose a lot and see every tool it went into.", "trace", "Trace"),
            Line("Put a copy back into a new folder once, to know that you can.", "copies",
                 "Copies of the shop"),
            Line("Ask for a second signature on values all mix by, when there are two of you.",
                 "catalogue-changes", "Changes to the catalogue"),
        ),
    ),
    Guide(
        "technician", "Card: technician", "A morning, from the first can to the last pot.",
        (
            Line("Today begins with what you do now, and by when.", "today", "Today"),
            Line("Fetch what the list names. Scan each can; a held or expired one is refused."),
            Line("Stir a filled can to its bottom before it is weighed from."),
            Line("Weigh in the order the page gives. The hardener follows the resin that is "
                 "really in the pot."),
            Line("Scrape sides and bottom while mixing. The pot life runs from first contact."),
            Line("Pour what the page offers, lift by lift, before the time it shows."),
            Line("Spread what stays in the pot thin or into a tray. Never leave it deep."),
            Line("Hot pot, leak, spill, short: tap the large button first; it asks afterwards."),
            Line("Without a network go on: entries are sent when it is back."),
        ),
        (SKIN, HOT, SHUT),
    ),
    Guide(
        "planner", "Card: planner", "A week that holds.",
        (
            Line("Look at what no longer holds, and why.", "shop-changes", "Report a change"),
            Line("Plan again, read the comparison, confirm. Nothing confirmed moves unseen.",
                 "week", "Week"),
            Line("Change, hold or cancel an order on its own page. What is poured stays.",
                 "orders", "Orders"),
            Line("Not placed? The page names the cause, and what would help, already tried."),
            Line("Pin what must not move."),
        ),
        (SHUT,),
    ),
    Guide(
        "purchasing", "Card: purchasing", "Nothing runs short, nothing expires.",
        (
            Line("Look at what runs short, when, and for which pour.", "buying", "Buying"),
            Line("Work out what to buy, decide on each proposal, approve, order.", "buying",
                 "Buying"),
            Line("Enter what the supplier confirmed; days and packs move the outlook.",
                 "purchase-orders", "Purchase orders"),
            Line("Take goods in with lot and expiry, by scanner or file.", "goods-in", "Goods in"),
            Line("See stock week by week.", "outlook", "Stock ahead"),
            Line("See how suppliers deliver, what moves slowly, and what stock is worth.",
                 "buyer-figures", "Figures"),
        ),
    ),
    Guide(
        "tool-keeper", "Card: tool keeper", "Tools that last and let go.",
        (
            Line("Enter shots, from the press counter's file or by hand.", "tools", "Tools"),
            Line("Coat, inspect and repair when Today says it is due.", "today", "Today"),
            Line("Write checklists under Set-up; a tool's page shows where its sizes drift to.",
                 "tools", "Tools"),
            Line("Look at which tools are to be replaced, and order or decline.", "replacements",
                 "Replacements"),
        ),
        (SHUT,),
    ),
    Guide(
        "quality", "Card: quality", "What may be used, and what went where.",
        (
            Line("Release or hold lots that came in; extend a life only on evidence.", "lots",
                 "Lots"),
            Line("Decide on castings in quarantine, each with its reason.", "trace", "Trace"),
            Line("Recall a lot: it stays recalled, whatever arrives later.", "trace", "Trace"),
        ),
    ),
    Guide(
        "administrator", "Card: administrator", "A shop that opens every morning.",
        (
            Line("Give people their sign-in and their role; take it away when they leave.",
                 "people", "People"),
            Line("Make tokens for other systems, with the rights they need and no more.",
                 "people", "People"),
            Line("Look each week at copies and at mail that did not leave.", "copies",
                 "Copies of the shop"),
            Line("See who changed what.", "audit", "Who changed what"),
        ),
    ),
)  # fmt: skip
BY_SLUG = {guide.slug: guide for guide in GUIDES}
