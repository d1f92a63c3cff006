"""The house holds: packages import only those before them, and only the front knows click."""

import ast
import subprocess
import sys
from graphlib import TopologicalSorter
from pathlib import Path

import pytest

import stonelayout

ROOT = Path(stonelayout.__file__).parent
#: Packages and modules of the root, each importing only those before it and itself.
ORDER = [
    "errors",
    "units",
    "spelling",
    "finding_codes",
    "findings",
    "files",
    "file_sets",
    "markup",
    "toml",
    "geometry",
    "model",
    "svg",
    "reading",
    "lettering",
    "laying",
    "template",
    "checks",
    "writers",
    "shop",
    "documents",
    "make",
    "orders",
    "library",
    "cli",
    "__main__",
    "__init__",
]
#: The same inside a package that has packages of its own.
INSIDE = {
    "laying": ["common", "solvers", "rows", "courses", "packing"]
    + ["picking", "layer_distance", "shared_borders", "layout_builder", "lay", "design_size"],
    "laying.rows": ["tracks", "sizes", "narrow"]
    + ["row_state", "gap_closing", "row_symmetry", "row_junctions", "edge", "spine", "middle_row"],
}


def modules():
    """Yield each module's dotted name below the package, and its file."""
    for path in sorted(ROOT.rglob("*.py")):
        parts = path.relative_to(ROOT).with_suffix("").parts
        yield ".".join(parts[:-1] if parts[-1] == "__init__" and parts[:-1] else parts), path


NAMES = dict(modules())


def imports(name, path):
    """Yield every module of ours that a file imports, wherever the import stands."""
    package = name.split(".") if path.name == "__init__.py" else name.split(".")[:-1]
    package = [part for part in package if part != "__init__"]
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (one.name for one in node.names)
        elif isinstance(node, ast.ImportFrom):
            base = (node.module or "").split(".") if node.module else []
            if node.level:
                base = ["stonelayout", *package[: len(package) - node.level + 1], *base]
            for one in node.names:
                whole = ".".join([*base, one.name])
                yield whole if whole.removeprefix("stonelayout.") in NAMES else ".".join(base)


def test_every_package_is_in_the_order():
    assert {name.split(".")[0] for name in NAMES} == set(ORDER)


def test_packages_import_only_those_before_them():
    wrong = [
        f"{name} imports {target}"
        for name, path in NAMES.items()
        for target in imports(name, path)
        if target.startswith("stonelayout.")
        and ORDER.index(target.split(".")[1]) > ORDER.index(name.split(".")[0])
    ]
    assert wrong == []


@pytest.mark.parametrize("outer", INSIDE)
def test_packages_inside_import_only_those_before_them(outer):
    order, depth = INSIDE[outer], outer.count(".") + 1
    wrong = [
        f"{name} imports {target}"
        for name, path in NAMES.items()
        for target in imports(name, path)
        if name.startswith(f"{outer}.")
        and target.startswith(f"stonelayout.{outer}.")
        and order.index(target.split(".")[depth + 1]) > order.index(name.split(".")[depth])
    ]
    assert wrong == []


def test_no_circle_of_imports():
    graph = {
        name: {
            short
            for target in imports(name, path)
            if (short := target.removeprefix("stonelayout.")) in NAMES and short != name
        }
        for name, path in NAMES.items()
    }
    list(TopologicalSorter(graph).static_order())  # raises CycleError with the circle


def test_one_class_name_has_one_meaning():
    homes = {}
    for name, path in NAMES.items():
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ClassDef):
                homes.setdefault(node.name, []).append(name)
    assert {name: where for name, where in homes.items() if len(where) > 1} == {}


def test_one_module_name_stands_in_one_place():
    """But for commands, whose modules have their names, and what they call."""
    homes = {}
    for name, path in NAMES.items():
        if name.split(".")[0] not in ("cli", "make") and path.name != "__init__.py":
            homes.setdefault(name.split(".")[-1], []).append(name)
    assert {name: where for name, where in homes.items() if len(where) > 1} == {}


def test_only_the_front_imports_click_and_prints():
    wrong = []
    for name, path in NAMES.items():
        if name.split(".")[0] == "cli":
            continue
        wrong += [name for target in imports(name, path) if target.split(".")[0] == "click"]
        wrong += [
            name
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "print"
        ]
    assert wrong == []


def test_help_imports_neither_numpy_nor_shapely():
    code = (
        "import sys; from stonelayout.cli import group\n"
        "try: group.main(['--help'])\n"
        "except SystemExit: pass\n"
        "heavy = {'numpy', 'shapely', 'scipy', 'svgpathtools'} & set(sys.modules)\n"
        "sys.exit(f'imported {heavy}' if heavy else 0)"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert run.returncode == 0, run.stderr
