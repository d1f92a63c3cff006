"""Commands run by tests use this tree, whether or not it is installed."""

import atexit
import os
import shutil
import tempfile
from pathlib import Path

from browser import browser
from hypothesis import settings

__all__ = ["browser"]  # a fixture

ROOT = str(Path(__file__).parent.parent)
os.environ["PYTHONPATH"] = os.pathsep.join(
    part for part in (ROOT, os.environ.get("PYTHONPATH")) if part
)
# A user's own catalogue must not change what is tested.
os.environ["XDG_CONFIG_HOME"] = tempfile.mkdtemp(prefix="stonelayout-tests-")
atexit.register(shutil.rmtree, os.environ["XDG_CONFIG_HOME"], ignore_errors=True)
# No test is timed: the machine may be busy with others. CI draws the same examples each time, so
# that what lands does not hang on luck; elsewhere every run draws new ones.
settings.register_profile("untimed", deadline=None, derandomize="CI" in os.environ)
settings.load_profile("untimed")
