"""Read thousands of real drawings: none may crash or hang.

    apt-get install openclipart-svg
    python benchmarks/import_clipart.py [--every N] [--folder /usr/share/openclipart/svg]

Goal: no crash, nothing over 10 s of processor time; what is refused is named with its reason.
"""

from __future__ import annotations

import argparse
import signal
import time
import traceback
from collections import Counter
from pathlib import Path
from typing import Any

from stonelayout.errors import StoneLayoutError
from stonelayout.svg import read_svg

MOST_SECONDS = 10


class TooSlowError(Exception):
    """A file took too long."""


def _stop(*_: Any) -> None:
    raise TooSlowError


def main() -> None:
    """Run the benchmark."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--folder", type=Path, default=Path("/usr/share/openclipart/svg"))
    parser.add_argument("--every", type=int, default=1, help="take every Nth file")
    options = parser.parse_args()
    signal.signal(signal.SIGPROF, _stop)
    files = [path for path in sorted(options.folder.rglob("*.svg*")) if path.is_file()]
    outcome: Counter[str] = Counter()
    slowest: list[tuple[float, str]] = []
    for path in files[:: options.every]:
        signal.setitimer(signal.ITIMER_PROF, MOST_SECONDS)
        start = time.process_time()
        try:
            read_svg(path)
            outcome["read"] += 1
        except TooSlowError:
            outcome["time-out"] += 1
            print(f"time-out: {path}")
        except StoneLayoutError as error:
            outcome["refused"] += 1
            print(f"refused: {path.name}: {error.message[:150]}")
        except Exception:
            outcome["crash"] += 1
            print(f"crash: {path}")
            traceback.print_exc()
        finally:
            signal.setitimer(signal.ITIMER_PROF, 0)
        slowest.append((time.process_time() - start, path.name))
    print(dict(outcome), f"{sum(seconds for seconds, _ in slowest):.0f} s")
    print("slowest:", [(f"{seconds:.1f} s", name) for seconds, name in sorted(slowest)[-8:]])


if __name__ == "__main__":
    main()
