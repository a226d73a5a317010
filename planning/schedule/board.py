"""The picture of a week: who and what is busy when, as places on a board. No database."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from planning.core.plan import Batch, Plan, Problem, Task

LEFT = 150
WIDTH = 1500
HEAD = 44
LANE = 26
GAP = 6


@dataclass(frozen=True)
class Piece:
    """Something that happens: from, to, where, and what it says."""

    row: str
    start: datetime
    end: datetime
    kind: str
    label: str
    title: str
    pour: str
    late: bool = False


@dataclass(frozen=True)
class Bar:
    """A piece, or the part of it inside one day's hours, on the board."""

    x: float
    y: float
    width: float
    height: float
    piece: Piece
    shows_label: bool


@dataclass(frozen=True)
class Row:
    """A person, mixer or place."""

    name: str
    group: str
    y: float
    height: float


@dataclass(frozen=True)
class Day:
    """One day's column with its hours."""

    day: date
    x: float
    width: float
    hours: tuple[tuple[float, str], ...]


@dataclass
class Board:
    """Everything the picture draws."""

    width: float
    height: float
    days: list[Day]
    rows: list[Row]
    bars: list[Bar]
    pieces: list[Piece] = field(default_factory=list)


def finish_min(problem: Problem, plan: Plan, pour_id: str) -> int:
    """Return when a planned pour is done: after its last step, or cured when none follows."""
    pour = next(p for p in problem.pours if p.id == pour_id)
    waits = {step.id: step.wait_min for step in pour.after}
    ends = [
        (task.oven_start_min or task.end_min) + waits[task.step]
        for task in plan.tasks
        if task.pour == pour_id and task.kind == "after" and task.step in waits
    ]
    if ends:
        return max(ends)
    poured = max(p.end_min for batch in plan.batches for p in batch.portions if p.pour == pour_id)
    system = next(s for s in problem.systems if s.id == pour.system)
    return poured + max(system.at(poured).cure_min, pour.cure_min or 0)


def late_pours(problem: Problem, plan: Plan) -> list[tuple[str, int]]:
    """
    Return pours that finish after they are due with the minutes, the latest first.

    One that has begun and whose rest has no place is not among them: nobody knows its end.
    """
    due = {pour.id: pour.due_min for pour in problem.pours}
    placed = {lift.pour for lift in plan.lifts if lift.pour in due}
    placed -= {one.pour for one in plan.unplaced}
    found = [(pour, finish_min(problem, plan, pour) - due[pour]) for pour in placed]
    return sorted(((p, n) for p, n in found if n > 0), key=lambda row: (-row[1], row[0]))


def pieces_of(problem: Problem, plan: Plan) -> list[Piece]:
    """Return all work and stands of a plan, by row and time."""
    return sorted(
        [*_batches(problem, plan), *_tasks(problem, plan), *_stands(problem, plan)],
        key=lambda piece: (piece.start, piece.row, piece.end),
    )


def _at(problem: Problem, minute: int) -> datetime:
    return datetime.fromisoformat(problem.origin) + timedelta(minutes=minute)


def _names(problem: Problem) -> dict[str, str]:
    return {pour.id: pour.name or pour.id for pour in problem.pours}


def _short(name: str) -> str:
    """Leave out what stands in brackets at the end: a bar is too narrow for the tool's name."""
    return name.split(" (", 1)[0]


def _batches(problem: Problem, plan: Plan) -> Iterator[Piece]:
    names = _names(problem)
    late = {pour for pour, _ in late_pours(problem, plan)}
    for batch in plan.batches:
        into = ", ".join(
            f"{names.get(p.pour, p.pour)} lift {p.lift + 1} ({p.kg:.2f} kg)"
            for p in batch.portions
        )
        title = f"{batch.mixed_kg:.2f} kg {_system(problem, batch)} into {into}"
        pour = batch.portions[0].pour
        label = _short(names.get(pour, pour))
        is_late = any(p.pour in late for p in batch.portions)
        begin, end = _at(problem, batch.start_min), _at(problem, batch.end_min)
        for person in sorted(set(batch.people)):
            yield Piece(f"person:{person}", begin, end, "batch", label, title, pour, is_late)
        contact = _at(problem, batch.contact_min)
        yield Piece(f"mixer:{batch.mixer}", contact, end, "batch", label, title, pour, is_late)


def _system(problem: Problem, batch: Batch) -> str:
    found = [s.name for s in problem.systems if s.id == batch.system]
    return found[0] if found and found[0] else batch.system


def _tasks(problem: Problem, plan: Plan) -> Iterator[Piece]:
    names = _names(problem)
    steps = {s.id: s.name for p in problem.pours for s in (*p.before, *p.after)}
    for task in plan.tasks:
        words = _task_words(task, steps)
        name = names.get(task.pour, task.pour)
        begin, end = _at(problem, task.start_min), _at(problem, task.end_min)
        for person in sorted(set(task.people)):
            title = f"{words}, {name}"
            yield Piece(f"person:{person}", begin, end, "step", _short(name), title, task.pour)


def _task_words(task: Task, steps: dict[str, str]) -> str:
    if task.kind == "abrade":
        return f"Abrade and clean before lift {(task.lift or 0) + 1}"
    return steps.get(task.step, task.step)


def _stands(problem: Problem, plan: Plan) -> Iterator[Piece]:
    names = _names(problem)
    for stand in plan.stands:
        name = names.get(stand.pour, stand.pour)
        yield Piece(
            f"place:{stand.place}",
            _at(problem, stand.start_min),
            _at(problem, stand.end_min),
            "wait",
            _short(name),
            f"{name} stands here",
            stand.pour,
        )


def board(problem: Problem, plan: Plan, zone: ZoneInfo, days: Iterable[date]) -> Board:
    """Lay a plan out over some days; hours in which nobody works are left out."""
    shown = list(days)
    opens, closes = _hours(problem, zone)
    scale = (WIDTH - LEFT) / len(shown) / (closes - opens)
    pieces = pieces_of(problem, plan)
    columns = [_day(day, n, opens, closes, scale) for n, day in enumerate(shown)]
    rows: list[Row] = []
    bars: list[Bar] = []
    y = float(HEAD)
    for key, name, group in _row_names(problem):
        lanes: list[datetime] = []
        mine = [piece for piece in pieces if piece.row == key and _inside(piece, shown, zone)]
        for piece in mine:
            lane = next((i for i, end in enumerate(lanes) if end <= piece.start), len(lanes))
            lanes[lane : lane + 1] = [piece.end]
            for x, width in _spans(piece, columns, zone, opens, closes, scale):
                top = y + GAP / 2 + lane * LANE
                bars.append(Bar(x, top, width, LANE - 4, piece, width > 9 * len(piece.label)))
        height = max(1, len(lanes)) * LANE + GAP
        rows.append(Row(name, group, y, height))
        y += height
    return Board(WIDTH, y + 4, columns, rows, bars, pieces)


def _row_names(problem: Problem) -> Iterator[tuple[str, str, str]]:
    for person in problem.people:
        yield f"person:{person.id}", person.name or person.id, "People"
    for mixer in problem.mixers:
        yield f"mixer:{mixer.id}", mixer.name or mixer.id, "Mixers"
    for place in problem.places:
        yield f"place:{place.id}", place.name or place.id, "Places"


def _hours(problem: Problem, zone: ZoneInfo) -> tuple[int, int]:
    """Return the minutes of the day between which anybody ever works, on whole hours."""
    starts, ends = [], []
    for person in problem.people:
        for start, end in person.shifts:
            begin, stop = (_at(problem, m).astimezone(zone) for m in (start, end))
            starts.append(begin.hour * 60 + begin.minute)
            until = stop.hour * 60 + stop.minute
            ends.append(until if stop.date() == begin.date() else 1440)
    if not starts:
        return 360, 1080
    return max(0, min(starts) // 60 * 60), min(1440, math.ceil(max(ends) / 60) * 60)


def _day(day: date, n: int, opens: int, closes: int, scale: float) -> Day:
    width = (closes - opens) * scale
    x = LEFT + n * width
    step = 60 if 60 * scale > 40 else 180
    first = math.ceil(opens / step) * step
    hours = tuple(
        (round(x + (m - opens) * scale, 1), f"{m // 60:02d}") for m in range(first, closes, step)
    )
    return Day(day, round(x, 1), round(width, 1), hours)


def _inside(piece: Piece, days: list[date], zone: ZoneInfo) -> bool:
    return (
        piece.start.astimezone(zone).date() <= days[-1]
        and piece.end.astimezone(zone).date() >= days[0]
    )


def _spans(
    piece: Piece, columns: list[Day], zone: ZoneInfo, opens: int, closes: int, scale: float
) -> Iterator[tuple[float, float]]:
    begin, end = piece.start.astimezone(zone), piece.end.astimezone(zone)
    for column in columns:
        if not begin.date() <= column.day <= end.date():
            continue
        low = opens if begin.date() < column.day else begin.hour * 60 + begin.minute
        high = closes if end.date() > column.day else end.hour * 60 + end.minute
        low, high = max(low, opens), min(high, closes)
        if high > low:
            x = column.x + (low - opens) * scale
            yield round(x, 1), round(max(2.0, (high - low) * scale - 1), 1)
