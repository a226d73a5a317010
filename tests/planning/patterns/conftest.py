"""Pattern files in a media folder of their own, handed in at the demo shop."""

import json
from copy import deepcopy
from dataclasses import replace

import pytest

from planning.patterns import actions, reading
from tests.planning.core.pattern.meshes import binary_stl, dovetail_mesh

SETUP = {"unit": "mm"}


@pytest.fixture(autouse=True)
def media(settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path / "media"
    return settings.MEDIA_ROOT / "patterns"


@pytest.fixture
def dovetail():
    """A plate with a dovetail groove as binary STL: two undercuts of 46.96 cm2 each."""
    return binary_stl(dovetail_mesh())


@pytest.fixture
def hand_in(shop_site, now, dovetail):
    """Hand a file in without having it read."""

    def make(data=None, file_name="groove.stl", **setup):
        return actions.take_pattern(
            site=shop_site,
            file_name=file_name,
            chunks=[dovetail if data is None else data],
            setup=SETUP | setup,
            now=now,
        )

    return make


@pytest.fixture(scope="session")
def known():
    """Give what the child made of each file and set-up so far."""
    return {}


@pytest.fixture(autouse=True)
def read_once(known, monkeypatch):
    """
    Start the child once for each file and set-up, and give what it said and wrote then again.

    It knows nothing but these, and takes 2 s to import what it needs.
    """
    start_child = reading.read

    def read(path, name, unit, setup, pictures, solid):
        said = json.dumps([name, unit, setup, sorted(pictures)], sort_keys=True)
        key = (path.read_bytes(), said)
        files = [*(pictures[view] for view in sorted(pictures)), solid]
        if key not in known:
            found = start_child(path, name, unit, setup, pictures, solid)
            written = [file.read_bytes() if file.exists() else None for file in files]
            known[key] = found, written
        found, written = known[key]
        for file, data in zip(files, written, strict=True):
            if data is not None:
                file.write_bytes(data)
        return replace(found, report=deepcopy(found.report))

    monkeypatch.setattr(reading, "read", read)


@pytest.fixture
def read(hand_in, now):
    """Hand a file in and have it read in the confined child."""

    def make(*args, **kwargs):
        return actions.examine(pattern_id=hand_in(*args, **kwargs).pk, now=now)

    return make
