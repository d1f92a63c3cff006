"""The module map holds: imports point one way, and only the front knows click."""

import ast
import subprocess
import sys
from pathlib import Path

import stonelayout

ROOT = Path(stonelayout.__file__).parent
#: Levels of the module map (DEVELOPERS.md): a module imports its own level or one before it.
LEVELS = {
    "words": "errors units markup tomlplaces findings files",
    "geometry": "curves polylines regions centreline neighbours",
    "nouns": "options catalogue tables artwork layout text names nameslist jobtext job template "
    "order shop",
    "engine": "svg tracing reading patterns bounds measures",
    "laying": "sides lay sizing",
    "after": "checks strength layers registration split cutpath tours holes plaincircles rebuild "
    "allchecks unread coupon contrast fills inspect lettering stock worktime quote quotewords "
    "packing roll tiles pieces",
    "out": "writers gem pages proof proofpage benchwords jobsheet report rollpapers papers verify "
    "cutfiles make many namesrun",
    "front": "cli __init__ __main__",
}


def modules():
    for path in sorted(ROOT.rglob("*.py")):
        relative = path.relative_to(ROOT)
        yield relative.parts[0].removesuffix(".py"), path


def imports(path):
    package = path.relative_to(ROOT).parent.parts
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            for name in node.names:
                yield name.name
        elif isinstance(node, ast.ImportFrom):
            base = node.module or ""
            if node.level:
                parts = ["stonelayout", *package[: len(package) - node.level + 1]]
                base = ".".join([*parts, base]).rstrip(".")
            if base in ("stonelayout", "stonelayout.cli"):
                for name in node.names:
                    yield f"{base}.{name.name}"
            else:
                yield base


def test_imports_point_one_way():
    level = {name: k for k, names in enumerate(LEVELS.values()) for name in names.split()}
    wrong = []
    for name, path in modules():
        for target in imports(path):
            parts = target.split(".")
            if parts[0] == "stonelayout" and len(parts) > 1 and level[parts[1]] > level[name]:
                wrong.append(f"{path.relative_to(ROOT)} imports {target}")
    assert wrong == []


def test_only_the_front_imports_click_and_prints():
    wrong = []
    for name, path in modules():
        if name == "cli":
            continue
        wrong += [str(path) for target in imports(path) if target.split(".")[0] == "click"]
        wrong += [
            str(path)
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
