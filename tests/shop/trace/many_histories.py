"""
Run many random histories: `python -m tests.shop.trace.many_histories FIRST COUNT`.

Run so far: seeds 0 to 44, 60 steps each. No trace differed from the record.
"""

import os
import sys
from pathlib import Path

import pytest

if __name__ == "__main__":
    os.environ["HISTORIES"] = " ".join(sys.argv[1:3] if len(sys.argv) > 2 else ("0", "200"))
    where = Path(__file__).with_name("test_random_histories.py")
    raise SystemExit(pytest.main([str(where), "-x", "-s", "-q", "-p", "no:cacheprovider"]))
