"""Where tests find the project and their data."""

import csv
from pathlib import Path

ROOT = Path(__file__).parent.parent
DATA = ROOT / "tests" / "data"
EXAMPLES = ROOT / "examples"
SHARED = ROOT.parent / "shared"


def table(name):
    """Return the rows of a CSV file of the tests' data, each a dict of texts."""
    with (DATA / name).open() as file:
        return list(csv.DictReader(line for line in file if not line.startswith("#")))
