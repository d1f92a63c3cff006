"""stonelayout: from artwork to hot-fix stone templates.

The public names below are loaded on first use, so that importing the package costs nothing.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from stonelayout.checks.webs import check as check
    from stonelayout.laying.lay import lay as lay_stones
    from stonelayout.model.artwork import Artwork as Artwork
    from stonelayout.model.catalogue import load_catalogue as load_catalogue
    from stonelayout.model.job import parse_job as parse_job
    from stonelayout.model.layout import Layout as Layout
    from stonelayout.template.separation import separate as separate

    from .errors import StoneLayoutError as StoneLayoutError
    from .findings import Finding as Finding
    from .make import make as make_job
    from .svg import read_svg as read_svg

#: Where each public name lives: module and name there. Functions that share their module's name
#: have a longer one here, since a package cannot hold both.
_HOMES = {
    "Artwork": ("model.artwork", "Artwork"),
    "Finding": ("findings", "Finding"),
    "Layout": ("model.layout", "Layout"),
    "StoneLayoutError": ("errors", "StoneLayoutError"),
    "check": ("checks.webs", "check"),
    "lay_stones": ("laying.lay", "lay"),
    "load_catalogue": ("model.catalogue", "load_catalogue"),
    "make_job": ("make", "make"),
    "parse_job": ("model.job", "parse_job"),
    "read_svg": ("svg", "read_svg"),
    "separate": ("template.separation", "separate"),
}
__all__ = [
    "Artwork",
    "Finding",
    "Layout",
    "StoneLayoutError",
    "check",
    "lay_stones",
    "load_catalogue",
    "make_job",
    "parse_job",
    "read_svg",
    "separate",
]


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    module, attribute = _HOMES[name]
    value = getattr(importlib.import_module(f".{module}", __name__), attribute)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted({*globals(), *_HOMES})
