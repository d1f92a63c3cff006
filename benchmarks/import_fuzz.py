"""Read mutated drawings: each is read or refused, none crashes or warns.

Four in five keep their XML and have other values, names, tags and nesting; one in five has other
bytes.

python benchmarks/import_fuzz.py [--count 100000] [--seed 0]
"""

from __future__ import annotations

import argparse
import random
import sys
import time
import traceback
import warnings
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent / "tests"))
sys.path.insert(0, str(Path(__file__).parent.parent / "tests" / "svg"))
from test_svg_hostile import mutated

from stonelayout.errors import StoneLayoutError
from stonelayout.svg import read_svg


def main() -> None:
    """Run the benchmark."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=100_000)
    parser.add_argument("--seed", type=int, default=0)
    options = parser.parse_args()
    source = random.Random(options.seed)  # noqa: S311  # seeded, so that a crash comes again
    warnings.simplefilter("error")
    outcome: Counter[str] = Counter()
    slowest = 0.0
    for _ in range(options.count):
        data = mutated(source)
        start = time.process_time()
        try:
            read_svg(data)
            outcome["read"] += 1
        except StoneLayoutError:
            outcome["refused"] += 1
        except Exception:
            outcome["crash"] += 1
            print(data)
            traceback.print_exc()
        slowest = max(slowest, time.process_time() - start)
    print(dict(outcome), f"slowest {slowest:.2f} s")


if __name__ == "__main__":
    main()
