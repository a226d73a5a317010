"""Run many sequences of random taps: `python -m tests.planning.weigh_in.many_taps FIRST COUNT`."""

import os
import sys
from pathlib import Path

import pytest

if __name__ == "__main__":
    os.environ["TAPS"] = " ".join(sys.argv[1:3] if len(sys.argv) > 2 else ("0", "5000"))
    where = Path(__file__).with_name("test_random_taps.py")
    raise SystemExit(pytest.main([str(where), "-x", "-s", "-p", "no:cacheprovider"]))
