"""
Types made by openapi-typescript let both stories compile under `tsc --strict`.

Node comes with the test's packages; the two tools come from the npm registry, as the lock file
pins them.
"""

from tests.clients.generating import typescript_types


def test_both_stories_compile(tmp_path):
    typescript_types(tmp_path)
