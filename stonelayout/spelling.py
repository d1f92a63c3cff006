"""Misspelt names: what was meant."""

from __future__ import annotations

import difflib
from collections.abc import Iterable

#: What has a command of its own that lists all names.
_LISTED_BY = {"stone": "stones", "colour": "stones", "finding": "findings"}
_FIGURES = str.maketrans("oil", "011")


def unknown(name: object, known: Iterable[str], what: str) -> str:
    """Say that a name is unknown, with the nearest right spelling or the whole short list."""
    names = sorted(known)
    near = [other for other in names if _seen(other) == _seen(str(name))]
    near = near or difflib.get_close_matches(str(name).lower(), names, n=3, cutoff=0.6)
    if near:
        return f'unknown {what} "{name}"; did you mean {" or ".join(near)}?'
    listed = ", ".join(names[:8]) + (", ..." if len(names) > 8 else "")
    long = len(names) > 8 and what in _LISTED_BY
    shown = f" (all: stonelayout {_LISTED_BY[what]})" if long else ""
    return f'unknown {what} "{name}"; there are: {listed}{shown}'


def _seen(name: str) -> str:
    """Return a name with the letters that are taken for figures as these: ss1O is ss10."""
    return name.casefold().translate(_FIGURES)
