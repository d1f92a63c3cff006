"""The proof page with 20,000 stones: time to build, size, and the frames while it is moved.

Run: python benchmarks/proof.py (frames need Chromium; without a graphics card they are drawn by the
processor, so a shop's machine is quicker). A screen shows a frame every 16.7 ms.
"""

from __future__ import annotations

import statistics
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent.parent / "tests"))

from browser import CHROMIUM, Browser

from stonelayout.documents.proof import proof_svg
from stonelayout.documents.proof_page import proof_html
from stonelayout.model.catalogue import load_catalogue
from stonelayout.model.layout import Kind, Layout

STONES = 20_000
FRAMES = 40
_MEASURE = """(async () => {
  const times = [];
  for (let i = 0; i < %d; i++) {
    const before = performance.now();
    %s;
    await new Promise((go) => requestAnimationFrame(() => setTimeout(go, 0)));
    times.push(performance.now() - before);
  }
  return times;
})()"""
_MOVE = (
    "document.getElementById('stage').dispatchEvent(new KeyboardEvent('keydown', "
    "{ key: i % 2 ? 'ArrowLeft' : 'ArrowRight' }))"
)
_ZOOM = "document.getElementById(i % 2 ? 'in' : 'out').click()"
_SWITCH = "document.getElementById('layer0').click()"


def layout() -> Layout:
    """Return a grid of two kinds of stone."""
    x, y = np.meshgrid(np.arange(200) * 4.0, np.arange(STONES // 200) * 4.0)
    centres = np.column_stack((x.ravel(), y.ravel())) + 5.0
    return Layout(
        size=(810.0, 410.0),
        kinds=(Kind("ss6", "crystal", 2.0), Kind("ss10", "sapphire", 2.8)),
        centres=centres,
        kind=(np.arange(STONES) // 7 % 2).astype(np.intp),
        source=("grid",) * STONES,
    )


def main() -> None:
    """Print the table."""
    rgb = load_catalogue().colours
    stones = layout()
    for name, build in (("proof.svg", proof_svg), ("proof.html", proof_html)):
        start = time.perf_counter()
        text = build(stones, rgb)
        took = time.perf_counter() - start
        assert text.count("<use " if name.endswith("svg") else "<canvas ") >= 2
        print(f"{name:12} {STONES} stones: {took * 1000:6.0f} ms, {len(text) / 1000:7.0f} kB")
    if CHROMIUM is None:
        print("no Chromium: frames not measured")
        return
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as folder:
        page = Path(folder) / "proof.html"
        page.write_text(text, encoding="utf-8")
        browser = Browser(Path(folder) / "profile")
        browser.open(page)
        for name, act in (("move", _MOVE), ("zoom", _ZOOM), ("switch a layer", _SWITCH)):
            times = browser.run(_MEASURE % (FRAMES, act))
            middle, worst = statistics.median(times), max(times)
            print(f"{name:15} median {middle:6.1f} ms a frame, worst {worst:6.1f} ms")
        assert browser.complaints == []
        browser.close()


if __name__ == "__main__":
    main()
