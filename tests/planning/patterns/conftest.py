"""Pattern files in a media folder of their own, handed in at the demo shop."""

import pytest

from planning.patterns import actions
from tests.planning.core.meshes import binary_stl, dovetail_mesh

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


@pytest.fixture
def read(hand_in, now):
    """Hand a file in and have it read in the confined child."""

    def make(*args, **kwargs):
        return actions.examine(pattern_id=hand_in(*args, **kwargs).pk, now=now)

    return make
