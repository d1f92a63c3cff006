"""Golden layouts: what every pattern lays on a fixed set of drawings, as digests of all files.

Run: PYTHONPATH=. python benchmarks/golden.py

Compares with golden.json and prints what differs, with the figures of the fills before and after.
``--record`` takes today's layouts as golden; ``--only TEXT`` looks at the cases whose names hold
it; ``--keep FOLDER`` keeps drawings, jobs and all files, to look at.

Digests hold for one set of library versions and one kind of processor: the file names those that it
was recorded with. Record on the commit before a change, compare after it.
"""

from __future__ import annotations

import argparse
import contextlib
import hashlib
import io
import json
import platform
import shutil
import sys
import tempfile
from collections.abc import Iterator
from importlib.metadata import version
from pathlib import Path
from typing import Any

import joblib
import numpy as np
import shapely

from benchmarks.gallery import LOOKS, SEVERAL, SMALLER
from benchmarks.gallery_shapes import Art, letters, shapes, star

HERE = Path(__file__).parent
GOLDEN = HERE / "golden.json"
EXAMPLES = HERE.parent / "examples"
PITCH = 3.2
#: Figures of a fill that are set side by side where a layout differs.
FIGURES = ("placed", "spread", "row_order", "largest_empty", "cover", "psi6")

#: Drawings besides the gallery's: words in three faces, and shapes that meet.
WORDS = {
    "sans-30": ("AMKRS8", 30.0, "DejaVuSans-Bold.ttf"),
    "sans-60": ("WOE&", 60.0, "DejaVuSans-Bold.ttf"),
    "serif-40": ("MRGa", 40.0, "DejaVuSerif-Bold.ttf"),
    "light-50": ("kayet", 50.0, "DejaVuSans.ttf"),
}
MANNERS: dict[str, tuple[str, dict[str, Any]]] = {
    **LOOKS,
    "edge-outside": ("edge", {"where": "outside"}),
    "edge-free": ("edge", {"corners": "free"}),
    "edge-3-rows": ("edge", {"rows": 3, "margin": "0.4 mm"}),
    "spine-overhang": ("spine", {"overhang": "1.2 mm"}),
    "courses-margin": ("courses", {"margin": "0.8 mm"}),
    "lattice-square": ("lattice", {"grid": "square"}),
    "lattice-angle": ("lattice", {"angle": 20.0}),
    "lattice-edge-row": ("lattice", {"edge_row": True}),
    "even-draft": ("even", {"quality": "draft"}),
    "even-free": ("even", {"symmetric": False}),
    "graded-edge-row": ("graded", {"edge_row": True}),
    "graded-draft": ("graded", {"quality": "draft", "fewest": 1}),
}


def drawing(art: Art, margin: float = 4.0) -> str:
    """Return the SVG text of some shapes, areas filled and lines stroked."""
    boxes = np.array([shape.bounds for shape in art])
    low, high = boxes[:, :2].min(axis=0) - margin, boxes[:, 2:].max(axis=0) + margin
    parts = []
    for k, shape in enumerate(art):
        text, style = [], 'fill="none" stroke="#000" stroke-width="0.3"'
        if shape.area is not None:
            style = 'fill="#336699" fill-rule="evenodd"'
            for part in shapely.get_parts(shape.area):
                rings = [part.exterior, *part.interiors] if part.geom_type == "Polygon" else []
                text += [_path(np.array(ring.coords)[:-1] - low, True) for ring in rings]
        else:
            text += [_path(line.points - low, line.closed) for line in shape.outline]
        parts.append(f'<path id="{shape.id}-{k}" {style} d="{" ".join(text)}"/>')
    width, height = high - low
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width:.4f}mm" height="{height:.4f}mm" '
        f'viewBox="0 0 {width:.4f} {height:.4f}">{"".join(parts)}</svg>\n'
    )


def _path(points: np.ndarray, closed: bool) -> str:
    text = "M" + "L".join(f"{x:.6f},{y:.6f}" for x, y in points)
    return text + ("Z" if closed else "")


def rule(manner: str, size: str, pick: str = "{ all = true }", colour: str = "crystal") -> str:
    """Return one rule of a job file."""
    pattern, options = MANNERS[manner]
    stones = [size, *(SMALLER[size] if manner in SEVERAL or pattern == "graded" else ())]
    lines = [
        "[[lay]]",
        f"pick = {pick}",
        f"stone = {json.dumps(stones if len(stones) > 1 else size)}",
        f'colour = "{colour}"',
        f'pattern = "{pattern}"',
        'gap = "0.4 mm"',
        *(f"{key} = {json.dumps(value)}" for key, value in options.items()),
    ]
    return "\n".join(lines) + "\n"


def job(*rules: str, outputs: str = 'proof = ["svg"]') -> str:
    """Return a job file of some rules."""
    return f'[artwork]\nfile = "art.svg"\n\n[sheet]\ntile = true\n\n[outputs]\n{outputs}\n\n' + (
        "\n".join(rules)
    )


def overlapping() -> str:
    """Return a drawing whose shapes lie over, beside and across each other."""
    return (
        '<svg xmlns="http://www.w3.org/2000/svg" width="120mm" height="80mm" viewBox="0 0 120 80">'
        '<rect id="left" x="5" y="10" width="50" height="60" fill="#a00"/>'
        '<rect id="right" x="55" y="10" width="50" height="60" fill="#0a0"/>'
        '<circle id="disc" cx="55" cy="40" r="18" fill="#00a"/>'
        '<path id="wave" d="M5,40 C40,5 70,75 115,40" fill="none" stroke="#222"/></svg>\n'
    )


def cases() -> Iterator[tuple[str, dict[str, str]]]:
    """Yield the name of each case and its files: ``job.toml`` and what it names."""
    for look in LOOKS:
        for name, art in shapes(PITCH).items():
            yield (
                f"gallery/{name}/{look}",
                {"art.svg": drawing(art), "job.toml": job(rule(look, "ss10"))},
            )
    for manner in MANNERS:
        for word, (text, height, font) in WORDS.items():
            if manner in LOOKS and word in ("sans-60", "light-50"):
                continue
            yield (
                f"words/{word}/{manner}",
                {
                    "art.svg": drawing(letters(text, height, font)),
                    "job.toml": job(rule(manner, "ss6")),
                },
            )
    for manner in ("courses", "even", "graded", "lattice-edge-row"):
        files = {"art.svg": drawing(star(60.0, 27.0, 6)), "job.toml": job(rule(manner, "ss16"))}
        yield f"turns/{manner}", files
    for first, second in (
        ("courses", "even"),
        ("edge", "courses"),
        ("graded", "lattice"),
        ("edge-sizes", "graded"),
    ):
        text = job(
            rule("edge", "ss6", '{ id = "wave" }', "gold"),
            rule("courses", "ss10", '{ id = "disc" }', "red"),
            rule(first, "ss10", '{ id = "left" }', "sky"),
            rule(second, "ss10", '{ id = "right" }', "crystal"),
            outputs='cut = ["svg", "dxf", "hpgl", "pdf"]\nproof = ["svg", "html"]',
        )
        yield f"overlaps/{first}-{second}", {"art.svg": overlapping(), "job.toml": text}
    for path in sorted(EXAMPLES.glob("*.toml")):
        beside = {p.name: p.read_text(encoding="utf-8") for p in EXAMPLES.iterdir()}
        yield f"examples/{path.stem}", {**beside, "job.toml": beside[path.name]}


def made(name: str, files: dict[str, str], folder: Path) -> dict[str, Any]:
    """Make one case and return its digests and figures."""
    from stonelayout.cli import main

    place = folder / name
    place.mkdir(parents=True, exist_ok=True)
    for file, text in files.items():
        (place / file).write_text(text, encoding="utf-8")
    said, code = io.StringIO(), 0
    with (
        contextlib.chdir(place),
        contextlib.redirect_stdout(said),
        contextlib.redirect_stderr(said),
    ):
        try:
            main(["make", "job.toml", "--out", "out", "--workers", "1"])
        except SystemExit as stop:
            code = int(stop.code or 0)
    (place / "said.txt").write_text(said.getvalue(), encoding="utf-8")
    assert code in (0, 1, 2), f"{name}: exit {code}: {said.getvalue()}"
    out = place / "out"
    # a line's made.json holds a hash of the program itself, and its set.json that of made.json
    own = ("made.json", "set.json")
    written = sorted(p for p in out.rglob("*") if p.is_file() and p.name not in own)
    digests = {p.relative_to(out).as_posix(): digest(p.read_bytes()) for p in written}
    entry: dict[str, Any] = {
        "exit": code,
        "files": digests,
        "said": digest(said.getvalue().encode()),
    }
    if (out / "report.json").exists():
        report = json.loads((out / "report.json").read_text(encoding="utf-8"))
        if "fills" in report:
            entry["stones"] = report["stones"]
            entry["fills"] = [
                [fill["shape"], *(fill[key] for key in FIGURES)] for fill in report["fills"]
            ]
    return entry


def digest(data: bytes) -> str:
    """Return a short digest."""
    return hashlib.sha256(data).hexdigest()[:16]


def means(entry: dict[str, Any]) -> dict[str, float]:
    """Return the mean of each figure over a case's fills, and the sum of its stones."""
    table = {"stones": float(entry.get("stones", 0))}
    for k, key in enumerate(FIGURES[1:], start=2):
        values = [fill[k] for fill in entry.get("fills", ()) if fill[k] is not None]
        if values:
            table[key] = float(np.mean(values))
    return table


def compare(old: dict[str, Any], new: dict[str, Any]) -> int:
    """Print what differs, and return how many cases do."""
    differ = 0
    for name in sorted(new):
        if name not in old:
            print(f"{name}: not in the golden set")
            continue
        if old[name] == new[name]:
            continue
        differ += 1
        a, b = old[name]["files"], new[name]["files"]
        changed = sorted(file for file in a.keys() | b.keys() if a.get(file) != b.get(file))
        laid = any(Path(file).name == "layout.json" for file in changed)
        print(f"{name}: {'LAYOUT' if laid else 'files'} {len(changed)} of {len(b)}: {changed[:4]}")
        if old[name]["said"] != new[name]["said"]:
            print("    says otherwise on the terminal")
        before, after = means(old[name]), means(new[name])
        figures = [
            f"{key} {before.get(key, 0):.4g} -> {after.get(key, 0):.4g}"
            for key in after
            if before.get(key) != after[key]
        ]
        if figures:
            print("    " + ", ".join(figures))
    return differ


def main() -> None:
    """Make all cases and compare, or record."""
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("--record", action="store_true")
    ask.add_argument("--only", action="append", default=[])
    ask.add_argument("--keep", type=Path)
    ask.add_argument("--workers", type=int, default=-1)
    given = ask.parse_args()
    wanted = [
        (name, files)
        for name, files in cases()
        if not given.only or any(text in name for text in given.only)
    ]
    folder = given.keep or Path(tempfile.mkdtemp())
    folder.mkdir(parents=True, exist_ok=True)
    try:
        entries = joblib.Parallel(n_jobs=given.workers)(
            joblib.delayed(made)(name, files, folder.resolve()) for name, files in wanted
        )
    finally:
        if not given.keep:
            shutil.rmtree(folder)
    new = {name: entry for (name, _), entry in zip(wanted, entries, strict=True)}
    machine = {"machine": platform.machine()} | {
        name: version(name) for name in ("numpy", "scipy", "shapely")
    }
    held = json.loads(GOLDEN.read_text(encoding="utf-8")) if GOLDEN.exists() else {"cases": {}}
    if given.record:
        held = {"recorded_with": machine, "cases": {**(held["cases"] if given.only else {}), **new}}
        lines = [f'"{name}": {json.dumps(entry)}' for name, entry in sorted(held["cases"].items())]
        GOLDEN.write_text(
            f'{{"recorded_with": {json.dumps(machine)}, "cases": {{\n'
            + ",\n".join(lines)
            + "\n}}\n",
            encoding="utf-8",
        )
        print(f"recorded {len(new)} cases")
        return
    if held.get("recorded_with") != machine:
        print(f"recorded with {held.get('recorded_with')}, and this is {machine}", file=sys.stderr)
    differ = compare(held["cases"], new)
    print(f"{len(new) - differ} of {len(new)} cases alike")
    sys.exit(1 if differ else 0)


if __name__ == "__main__":
    main()
