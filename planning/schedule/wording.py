"""Sentences of the check as people read them: names for ids, days of the week for minutes."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from planning.core import plan as core

PLACE = (
    r"(^|stands in |goes into | is in |place in |gives up |was cast, |not for '|; )(\d+)"
    r"((?: holds| runs| is a | at |;|'| while|, | for)|$)"
)
"""Where a sentence of the check names a place by its id."""


def day_of(problem: core.Problem, minute: int, zone: ZoneInfo) -> str:
    """Return the day of a minute, `Mon 30 Nov`."""
    at = datetime.fromisoformat(problem.origin) + timedelta(minutes=minute)
    return f"{at.astimezone(zone):%a %d %b}"


def short(name: str) -> str:
    """Return a pour's name without its tool's."""
    return name.split(" (", 1)[0]


def in_words(words: str, zone: ZoneInfo, *problems: core.Problem) -> str:
    """
    Put the names people use in place of ids, days in place of numbers of days, lifts from 1.

    The first problem that knows an id names it.
    """
    pours: dict[str, str] = {}
    steps: dict[str, str] = {}
    people: dict[str, str] = {}
    mixers: dict[str, str] = {}
    places: dict[str, str] = {}
    for problem in reversed(problems):
        pours |= {pour.id: short(pour.name or pour.id) for pour in problem.pours}
        steps |= {s.id: s.name for pour in problem.pours for s in (*pour.before, *pour.after)}
        people |= {person.id: person.name or person.id for person in problem.people}
        mixers |= {mixer.id: mixer.name or mixer.id for mixer in problem.mixers}
        places |= {place.id: place.name or place.id for place in problem.places}

    def name(known: dict[str, str]) -> Callable[[re.Match[str]], str]:
        return lambda m: m[1] + known.get(m[2], m[2]) + m[3]

    words = re.sub(r"(\b[Ll]ift )(\d+)( of pour |\b)", _from_one, words)
    words = re.sub(r"(\b[Ss]tep )'?(\d+)'?()", name(steps), words)
    words = re.sub(r"(shift of |given to |, which )'?(\d+)'?()\b", name(people), words)
    words = re.sub(r"^()(\d+)( is asked for)", name(people), words)
    words = re.sub(r"(\b[Mm]ixer |mixed in )'?(\d+)'?()", name(mixers), words)
    words = re.sub(PLACE, name(places), words)
    words = re.sub(r"(pours at [^(]*\()([\d, ]+)(\))", _each(pours), words)
    words = re.sub(r"(\b[Pp]our )'?(\d+)'?()", name(pours), words)
    return re.sub(r"day (\d+) (\d\d):(\d\d)", _moment(problems[0], zone), words)


def _each(known: dict[str, str]) -> Callable[[re.Match[str]], str]:
    return lambda m: m[1] + ", ".join(known.get(key, key) for key in m[2].split(", ")) + m[3]


def _from_one(match: re.Match[str]) -> str:
    """Count lifts as people do; the core counts from 0."""
    return f"{match[1]}{int(match[2]) + 1}{match[3]}"


def _moment(problem: core.Problem, zone: ZoneInfo) -> Callable[[re.Match[str]], str]:
    """Return what writes `day 3 07:00`, counted from the problem's first day, as a weekday."""
    starts = problem.day_starts

    def write(match: re.Match[str]) -> str:
        number = int(match[1]) - 1
        start = starts[number] if number < len(starts) else number * 1440
        minute = start + 60 * int(match[2]) + int(match[3])
        at = datetime.fromisoformat(problem.origin) + timedelta(minutes=minute)
        return f"{at.astimezone(zone):%a %d %b %H:%M}"

    return write
