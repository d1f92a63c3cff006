"""Read icon sets and compare each with the picture that resvg makes of it.

    npm install @tabler/icons bootstrap-icons flag-icons   # in any folder
    python benchmarks/import_icons.py FOLDER/node_modules [--every N]

Goal: every file read, at most 0.2 % of pixels different on at least 99.5 % of each set.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent / "tests"))
from judge import coverage, differing, render

from stonelayout.errors import StoneLayoutError
from stonelayout.svg import read_svg
from stonelayout.writers.artwork_svg import seen_svg

SETS = {
    "@tabler/icons": "@tabler/icons/icons",
    "bootstrap-icons": "bootstrap-icons/icons",
    "flag-icons": "flag-icons/flags",
}
SIDE = 256
MOST_DIFFERENT = 0.002


def judged(path: Path) -> tuple[str, float, float]:
    """Return (what is wrong or "", share of pixels that differ, seconds to read)."""
    text = path.read_text(encoding="utf-8")
    start = time.process_time()
    try:
        art = read_svg(path)
    except StoneLayoutError as error:
        return f"refused: {error.message[:80]}", 1.0, time.process_time() - start
    seconds = time.process_time() - start
    width, height = art.size
    size = round(SIDE * min(1.0, width / height)), round(SIDE * min(1.0, height / width))
    ours = coverage(render(seen_svg(art), size, stretch=True))
    theirs = coverage(render(text, size))
    share = differing(ours, theirs) / theirs.size
    return ("different" if share > MOST_DIFFERENT else ""), share, seconds


def main() -> None:
    """Run the benchmark."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("node_modules", type=Path)
    parser.add_argument("--every", type=int, default=1, help="take every Nth file")
    options = parser.parse_args()
    for name, folder in SETS.items():
        files = sorted((options.node_modules / folder).rglob("*.svg"))[:: options.every]
        results = [(path, *judged(path)) for path in files]
        good = sum(1 for _, wrong, _, _ in results if not wrong)
        seconds = sum(result[3] for result in results)
        rate = 1000.0 * seconds / max(1, len(files))
        share = 100.0 * good / max(1, len(files))
        print(f"{name}: {good} of {len(files)} ({share:.2f} %), {rate:.1f} s a 1,000 files")
        for path, wrong, part, _ in [result for result in results if result[1]][:30]:
            print(f"  {path.name}: {wrong} ({100 * part:.2f} %)")
        print(" ", Counter(wrong for _, wrong, _, _ in results if wrong))


if __name__ == "__main__":
    main()
