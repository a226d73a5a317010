"""What people see of a row changes in one way, so that its version and the audit never miss it."""

import ast
from pathlib import Path

import pytest

from planning.pours.models import Pour
from planning.schedule.models import WeekPlan
from shared.audit.models import AuditEntry
from shared.change import change, change_all
from tests.callers import caller, make_user

ROOT = Path(__file__).parents[2]
WORKER = "the worker's own bookkeeping; no caller is behind it"
NAMES_WHO = "the row itself, or the record written with it, names who did it and when"
LEDGER = "figures that the append-only ledger keeps beside its movements"

CODE_ONCE = "a code that was taken, which opens once; nobody sees its row"
MAY_UPDATE = {
    "planning/batch_sheets/actions.py::mark_printed": "the print's own row names who printed",
    "planning/patterns/actions.py::examine": WORKER,
    "planning/pours/steps.py::note_minutes": NAMES_WHO,
    "planning/pours/steps.py::sign_step": NAMES_WHO,
    "planning/pours/steps.py::waive_step": NAMES_WHO,
    "planning/schedule/actions.py::_keep": WORKER,
    "planning/schedule/actions.py::report": WORKER,
    "planning/schedule/actions.py::solve": WORKER,
    "planning/schedule/confirming.py::_next_number": "a counter that nobody sees",
    "planning/schedule/confirming.py::remove_planned": "dates of steps; the plan's entry tells it",
    "planning/trials/actions.py::answer": WORKER,
    "planning/weigh_in/losses.py::take_from_lift": NAMES_WHO,
    "planning/weigh_in/quarantine.py::release": NAMES_WHO,
    "shared/api/authentication.py::authenticate": "when a token was last used",
    "shared/api/viewsets.py::_patch": "the row was saved, and entered, a moment before",
    "shared/backup/open_archive.py::_set_password": "a shop read in; its audit stays as it was",
    "shared/events/actions.py::_next_number": "a counter that nobody sees",
    "shared/hooks/actions.py::replay": "deliveries; each attempt is written in the log of its own",
    "shared/mail/actions.py::_keep": "what came of a trial, which nobody decided",
    "shared/sealed.py::encrypt_all": "the same secrets under another key",
    "shop/counting/actions.py::_close": NAMES_WHO,
    "shop/demo.py::_people": "the invented shop",
    "shared/sign_in/new_password.py::mail_all": WORKER,
    "shared/sign_in/second_step.py::_take_app_code": CODE_ONCE,
    "shared/sign_in/second_step.py::take_code": CODE_ONCE,
    "shared/sign_in/sign_ins.py::carry_on": "the key of a session, which nobody sees",
}
"""Each bare update of rows by file and function, with why it needs no entry in the audit."""
WHOLE_FILES = {
    "planning/clocks/": "worked out from readings and stays, which name who wrote them down",
    "planning/reminders/": "deliveries and reminders; the row names who took it up",
    "shared/hooks/sending.py": WORKER,
    "shop/ledger/": LEDGER,
    "shop/purchasing/mailing.py": WORKER,
}


def bare_updates():
    """Yield file and function of each call of `update` with names, which is one of a query."""
    for app in ("planning", "shop", "shared"):
        for path in sorted((ROOT / app).rglob("*.py")):
            name = path.relative_to(ROOT).as_posix()
            if "/migrations/" in name or "/core/" in name:
                continue
            tree = ast.parse(path.read_text(encoding="utf-8"))
            for function in ast.walk(tree):
                if isinstance(function, ast.FunctionDef):
                    yield from (f"{name}::{function.name}" for _ in calls_in(function))


def calls_in(function):
    inner = [
        node
        for child in ast.walk(function)
        if isinstance(child, ast.FunctionDef) and child is not function
        for node in ast.walk(child)
    ]
    for node in ast.walk(function):
        is_call = isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute)
        if not is_call or node in inner:
            continue
        if node.func.attr == "bulk_update" or (node.func.attr == "update" and node.keywords):
            yield node


FOUND = set(bare_updates())


def test_rows_that_people_see_are_changed_in_the_one_way():
    named = {one for one in FOUND if not one.startswith(tuple(WHOLE_FILES))}
    assert named - set(MAY_UPDATE) == set(), "use shared.change, or say here why not"
    assert set(MAY_UPDATE) - named == set(), "no longer there: take it off the list"


def test_the_files_left_out_as_a_whole_do_have_such_calls():
    for start in WHOLE_FILES:
        assert any(one.startswith(start) for one in FOUND), start


@pytest.mark.django_db
def test_a_stop_by_rest_is_entered_with_who_asked(shops):
    plan = shops.row(WeekPlan, shops.here)
    user = make_user("planner", shops.here)
    version = plan.version
    answer = caller(user, [shops.here]).post(f"/api/v1/plans/{plan.pk}/stops", {}, format="json")
    assert answer.status_code == 201, answer.json()
    plan.refresh_from_db()
    assert (plan.stop_asked, plan.version) == (True, version + 1)
    entry = AuditEntry.objects.filter(kind="planning.weekplan").latest("pk")
    assert (entry.username, entry.after) == (user.username, {"stop_asked": True})


@pytest.mark.django_db
def test_all_rows_of_a_query_change_and_no_other(shops):
    pours = Pour.objects.filter(order__site=shops.here)
    first = pours.order_by("pk").first()
    others = set(pours.exclude(pk=first.pk).values_list("pk", "version", "priority"))
    assert change_all(pours.filter(pk=first.pk), priority=8) == 1
    stored = Pour.objects.get(pk=first.pk)
    assert (stored.priority, stored.version) == (8, first.version + 1)
    assert set(pours.exclude(pk=first.pk).values_list("pk", "version", "priority")) == others
    assert change(first, priority=7).version == first.version == stored.version + 1
