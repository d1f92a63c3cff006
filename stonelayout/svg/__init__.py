"""Read SVG drawings: document → resolved tree → shapes in millimetres, one feature a file."""

from __future__ import annotations

from .read import DEFAULT_MM as DEFAULT_MM
from .read import read_svg as read_svg

__all__ = ["DEFAULT_MM", "read_svg"]
