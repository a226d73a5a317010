"""A shop of one's own, founded a moment ago, and reading files into it."""

import io

import pytest
from openpyxl import Workbook

from planning.files import actions
from planning.founding.actions import found
from planning.management.callers import Caller


def found_own():
    site, person = found(
        name="Own", time_zone="Europe/Berlin", username="olga", password="a long own password"
    )
    return Caller(person), site


def read(own, data, name="shop.xlsx", **asked):
    caller, site = own
    return actions.read_shop_file(caller=caller, site=site, data=data, name=name, **asked)


def book_of(**sheets):
    """Return a workbook as another program writes it; `_` in a name stands for a blank."""
    book = Workbook()
    book.remove(book.active)
    for name, rows in sheets.items():
        page = book.create_sheet(name.replace("_", " "))
        for row in rows:
            page.append(row)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


@pytest.fixture
def own(frozen, db):
    return found_own()
