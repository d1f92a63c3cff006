"""Where tests find the project and their data."""

from pathlib import Path

ROOT = Path(__file__).parent.parent
DATA = ROOT / "tests" / "data"
EXAMPLES = ROOT / "examples"
SHARED = ROOT.parent / "shared"
