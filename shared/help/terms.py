"""The trade's terms as this shop uses them; common practice, no source."""

from __future__ import annotations

TERMS: tuple[tuple[str, str], ...] = (
    ("Barrier", "A thin coat or sheet between pattern and resin where release agent alone would "
     "let the resin key in, on porous or open-grained patterns."),
    ("Batch", "One mix in one pot: what is weighed, mixed and poured together."),
    ("Careful time", "The time up to which a casting stays shut. It lies on the late side: with "
     "the readings there are, 95 of 100 castings are ready before it."),
    ("Coat", "One layer of release agent over a surface. It is dry before the next goes on."),
    ("Conversion", "Share of the resin that has reacted, from 0 to 1."),
    ("Cover", "The least casting over the highest point of the pattern."),
    ("Cure", "The reaction that turns mixed resin into a solid. It gives off heat."),
    ("Demould", "Take a casting off its pattern or its other half. Only when it is cured enough "
     "and its faces are cool enough for a hand."),
    ("Dew point", "Temperature below which water settles on a surface. No coat and no pour goes "
     "on a surface near it."),
    ("Draft", "Slope of a side wall, so that the part comes out."),
    ("Exotherm", "Heat of the cure. A lift that is too deep, or a pot that is too full, heats "
     "itself until it cracks or smokes."),
    ("FEFO", "First expired, first out: the can with the earliest last day is used first."),
    ("Filler", "Powder or grains in the resin that take up volume and heat. It settles: stir the "
     "can before it is weighed from."),
    ("First contact", "The moment hardener meets resin. The pot life runs from here."),
    ("Gap", "Time between two lifts: not before the lower one carries the next, not after it has "
     "stopped bonding."),
    ("Gel", "The moment the mix stops flowing. Nothing is poured after it."),
    ("Glass transition", "Temperature above which the cured resin softens. A casting is taken "
     "off well below it."),
    ("Half", "One of the two castings of a matched set, A and B. B is cast against A."),
    ("Held", "A lot nobody may use until quality releases it."),
    ("Lift", "One layer of a pour, poured after the one below has gelled and before it stops "
     "bonding."),
    ("Lot", "What a maker produced in one run, with one number on every can."),
    ("Matched set", "Two halves that close on each other."),
    ("Open life", "How long a can keeps once it is opened. The earlier of it and the expiry "
     "holds."),
    ("Overpour window", "The hours in which the next lift both carries and bonds."),
    ("Parting", "Opening the two halves."),
    ("Pattern", "The shape a mould is cast over."),
    ("Peak", "The highest temperature of a cure, and the moment of it."),
    ("Portion", "The part of a batch that goes into one lift."),
    ("Pot", "The vessel a batch is mixed in."),
    ("Pot life", "How long a mix can be poured, from first contact. It is shorter for a warmer "
     "or larger mix."),
    ("Pour", "One casting, in one or more lifts."),
    ("Quarantine", "Set aside until quality decides: a lot that has just come, or a casting "
     "something went wrong with."),
    ("Ratio", "Hardener to 100 parts of resin by mass, and how far it may be off."),
    ("Recall", "A lot that is to be found and stopped wherever it went, castings and tools "
     "included."),
    ("Release agent", "Wax, film or spray that lets the casting come off."),
    ("Residue", "Mix that stays in the pot. It heats up there: spread it thin, never leave it "
     "deep."),
    ("Route", "The steps a tool goes through, before and after its pour."),
    ("Shelf life", "How long a sealed can keeps from the day it was made."),
    ("Shot", "One part made on a tool."),
    ("Short pour", "A lift that got less than planned. It is not topped up from a pot past its "
     "pot life: the rest is planned as a new batch."),
    ("Step", "One piece of work of a route: signed by who did it, or waived with a reason."),
    ("System", "A resin with its hardener and all values of its data sheet."),
    ("Tool", "A mould in use, with its halves, coats, shots and repairs."),
    ("Trace", "From a tool to every lot in it, and from a lot to every tool it went into."),
)  # fmt: skip


def found(text: str) -> list[tuple[str, str]]:
    """Return the terms that hold a text, in their names first."""
    asked = text.casefold().strip()
    if not asked:
        return list(TERMS)
    named = [one for one in TERMS if asked in one[0].casefold()]
    told = [one for one in TERMS if asked in one[1].casefold() and one not in named]
    return named + told
