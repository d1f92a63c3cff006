"""stonelayout: from artwork to hot-fix stone templates.

The public names below are loaded on first use, so that importing the package costs nothing.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from .artwork import Artwork as Artwork
    from .catalogue import load_catalogue as load_catalogue
    from .checks import check as check
    from .errors import StoneLayoutError as StoneLayoutError
    from .findings import Finding as Finding
    from .job import parse_job as parse_job
    from .lay import lay as lay
    from .layers import separate as separate
    from .layout import Layout as Layout
    from .make import make as make
    from .svg import read_svg as read_svg

_HOMES = {
    "Artwork": "artwork",
    "Finding": "findings",
    "Layout": "layout",
    "StoneLayoutError": "errors",
    "check": "checks",
    "lay": "lay",
    "load_catalogue": "catalogue",
    "make": "make",
    "parse_job": "job",
    "read_svg": "svg",
    "separate": "layers",
}
__all__ = [
    "Artwork",
    "Finding",
    "Layout",
    "StoneLayoutError",
    "check",
    "lay",
    "load_catalogue",
    "make",
    "parse_job",
    "read_svg",
    "separate",
]


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    value = getattr(importlib.import_module(f".{_HOMES[name]}", __name__), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted({*globals(), *_HOMES})
