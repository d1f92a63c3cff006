"""From artwork to hot-fix stone templates: lay the stones, check the sheet, cut every layer.

The library gives the command line's results and verdicts:

```python
import shapely
import stonelayout as sl

disc = shapely.Point(30, 30).buffer(25)
layout = sl.lay_polygon(disc, pattern="courses", stone="ss10", gap="1 mm", sheet="thin-flock")
findings = sl.run_checks(layout)
files = sl.write_cut_files(layout, "out", formats=("svg", "dxf"))
```

Coordinates and lengths are mm, y points down as in SVG; stones are tables of centres, shape (n, 2).
Values go in and values come out; only `read_svg`, `read_drawing`, `load_job`, `load_catalogue`,
`Made.write`, `write_cut_files` and `write_proof` touch files. Every error raised on purpose is a
`StoneLayoutError`; wrong input is an `InputError`, which is a `ValueError` too.

Names are loaded on first use, so that importing the package costs nothing.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

__version__ = "0.1.0"

if TYPE_CHECKING:
    from .checks.run_checks import run_checks as run_checks
    from .errors import ArtworkError as ArtworkError
    from .errors import CatalogueError as CatalogueError
    from .errors import InputError as InputError
    from .errors import JobError as JobError
    from .errors import LayoutError as LayoutError
    from .errors import MissingExtraError as MissingExtraError
    from .errors import StoneLayoutError as StoneLayoutError
    from .errors import VerificationError as VerificationError
    from .findings import Finding as Finding
    from .library import lay_polygon as lay_polygon
    from .library import lay_stones as lay_stones
    from .library import write_cut_files as write_cut_files
    from .library import write_proof as write_proof
    from .make import Made as Made
    from .make import make as make_job  # noqa: F401 - a public name
    from .model.artwork import Artwork as Artwork
    from .model.artwork import Line as Line
    from .model.artwork import Shape as Shape
    from .model.catalogue import Catalogue as Catalogue
    from .model.catalogue import Sheet as Sheet
    from .model.catalogue import Stone as Stone
    from .model.catalogue import load_catalogue as load_catalogue
    from .model.job import Job as Job
    from .model.job import Pick as Pick
    from .model.job import Rule as Rule
    from .model.job import make_rule as make_rule
    from .model.job import parse_job as parse_job
    from .model.layer import Layer as Layer
    from .model.layout import Kind as Kind
    from .model.layout import Layout as Layout
    from .orders.job_files import load_job as load_job
    from .reading.drawing import read_drawing as read_drawing
    from .reading.foreign_geometry import artwork_of as artwork_of
    from .svg import read_svg as read_svg
    from .template.separation import separate as separate

#: Where each public name lives: the module, and the name there where that is another. Functions
#: that share their module's name have a longer one here, since a package cannot hold both.
_HOMES = {
    "lay_polygon": "library",
    "lay_stones": "library",
    "run_checks": "checks.run_checks",
    "write_cut_files": "library",
    "write_proof": "library",
    "load_job": "orders.job_files",
    "make_job": "make:make",
    "Made": "make",
    "make_rule": "model.job",
    "parse_job": "model.job",
    "load_catalogue": "model.catalogue",
    "read_svg": "svg",
    "read_drawing": "reading.drawing",
    "artwork_of": "reading.foreign_geometry",
    "separate": "template.separation",
    "Artwork": "model.artwork",
    "Shape": "model.artwork",
    "Line": "model.artwork",
    "Catalogue": "model.catalogue",
    "Stone": "model.catalogue",
    "Sheet": "model.catalogue",
    "Job": "model.job",
    "Pick": "model.job",
    "Rule": "model.job",
    "Layout": "model.layout",
    "Kind": "model.layout",
    "Layer": "model.layer",
    "Finding": "findings",
    "StoneLayoutError": "errors",
    "InputError": "errors",
    "ArtworkError": "errors",
    "CatalogueError": "errors",
    "LayoutError": "errors",
    "JobError": "errors",
    "MissingExtraError": "errors",
    "VerificationError": "errors",
}
__all__ = [*_HOMES, "__version__"]


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    module, _, attribute = _HOMES[name].partition(":")
    value = getattr(importlib.import_module(f".{module}", __name__), attribute or name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted({*globals(), *_HOMES})
