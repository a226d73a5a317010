"""Every kind of error has a page, at the address that answers name as its type."""

import ast
import re

import pytest
from django.conf import settings
from django.test import Client

from shared.api.problem_kinds import BY_SLUG, KINDS
from shared.api.problems import TITLES, problem

CODE = re.compile(r"[a-z]+(_[a-z]+)*")
OF_FIELDS = {"not_a_choice", "not_decimal", "out_of_range", "required", "too_long"}
"""Codes of single fields, which stand in `errors`."""


def sources():
    for folder in ("shared", "shop", "planning"):
        for path in sorted((settings.ROOT / folder).rglob("*.py")):
            if not {"migrations", "core", "management"} & set(path.parts):
                yield ast.parse(path.read_text(encoding="utf-8"))


def kinds_of_errors(trees):
    """Names of ShopError and of every class made from it."""
    found = {"ShopError"}
    while True:
        more = {
            node.name
            for tree in trees
            for node in ast.walk(tree)
            if isinstance(node, ast.ClassDef)
            and any(getattr(base, "id", getattr(base, "attr", "")) in found for base in node.bases)
        }
        if more <= found:
            return found
        found |= more


def codes_raised():
    """Return the codes written where an error is raised or a kind of error is made."""
    trees = list(sources())
    kinds = kinds_of_errors(trees)
    for tree in trees:
        for node in ast.walk(tree):
            if isinstance(node, ast.ClassDef) and node.name in kinds:
                for one in node.body:
                    if isinstance(one, ast.Assign | ast.AnnAssign) and "code" in ast.dump(one):
                        yield from constants(one)
            name = node.func if isinstance(node, ast.Call) else None
            called = getattr(name, "id", getattr(name, "attr", ""))
            if called in kinds - {"Invalid"} or called == "__init__":
                if len(node.args) > 1:
                    yield from constants(node.args[1])
                for keyword in node.keywords:
                    if keyword.arg == "code":
                        yield from constants(keyword.value)


def constants(node):
    texts = (one.value for one in ast.walk(node) if isinstance(one, ast.Constant))
    return [text for text in texts if isinstance(text, str) and CODE.fullmatch(text)]


def test_every_code_that_is_raised_has_its_page():
    raised = set(codes_raised())
    assert len(raised) > 60, "the sources were not read"
    assert raised - OF_FIELDS <= set(KINDS)
    assert set(TITLES) <= set(KINDS)


def test_no_page_is_of_a_code_that_nobody_answers():
    folders = [settings.ROOT / name for name in ("shared", "shop", "planning")]
    text = "".join(
        path.read_text(encoding="utf-8")
        for folder in folders
        for path in folder.rglob("*.py")
        if path.name != "problem_kinds.py"
    )
    assert not [code for code in KINDS if f'"{code}"' not in text]


@pytest.mark.parametrize("code", KINDS)
def test_type_of_an_answer_is_an_address_that_opens(code, rf):
    address = problem(rf.get("/api/v1/me"), 409, code, "words")["type"]
    assert address == f"http://testserver/problems/{code.replace('_', '-')}/"
    page = Client().get(address.removeprefix("http://testserver"))
    assert page.status_code == 200
    assert KINDS[code].means.encode() in page.content.replace(b"&#x27;", b"'")


def test_all_are_listed_and_an_unknown_one_is_not_found(rf):
    page = Client().get("/problems/").content.decode()
    assert all(f"/problems/{slug}/" in page for slug in BY_SLUG)
    assert Client().get("/problems/no-such-kind/").status_code == 404
    assert problem(rf.get("/"), 409, "no_such_kind", "words")["type"] == "about:blank"
