"""Reading and writing the shop's file: what page, command and REST call."""

from __future__ import annotations

from typing import Any

from planning.files.doors import Doors
from planning.files.loading import Done, load
from planning.files.tables import read_file
from planning.files.writing import in_form, rows_of_shop, sample
from shared import clock
from shared.access.models import Site


def read_shop_file(
    *, caller: Any, site: Site, data: bytes, name: str, sheet: str = "", trial: bool = False
) -> Done:
    """
    Take in a workbook or CSV files for a site: all rows or none.

    Parameters
    ----------
    caller : request
        Who reads it in, with `user` and `auth`; rights are asked row by row as in the API.
    data, name, sheet
        As `tables.read_file` takes them.
    trial : bool
        Go through everything and change nothing.

    Raises
    ------
    Invalid
        With every fault of the file.
    """
    return load(Doors(caller, site), read_file(data, name, sheet), trial=trial)


def shop_file(*, caller: Any, site: Site, form: str) -> tuple[bytes, str]:
    """Return a site's set-up, stock and waiting orders as a file, and how its name ends."""
    return in_form(rows_of_shop(Doors(caller, site)), form)


def sample_file(*, site: Site, form: str) -> tuple[bytes, str]:
    """Return the sample as a file, and how its name ends."""
    return in_form(sample(clock.today(site)), form)
