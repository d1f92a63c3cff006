"""Reading our own layers back: what is on disk must be what was meant."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from collections.abc import Mapping, Sequence

import numpy as np
import numpy.typing as npt

from stonelayout.errors import VerificationError
from stonelayout.model.layer import Layer, Page

from .tiles import Tile

#: Layer files hold positions to 1e-4 mm or finer: rounding moves a centre by half of that a side.
READ_BACK_MM = 1e-4
_SVG = "{http://www.w3.org/2000/svg}"


def verify_layers(files: Mapping[str, bytes], layers: Sequence[Layer], page: Page) -> None:
    """Compare layer files as read back with the layers meant.

    Raises VerificationError naming the first file whose holes differ in number, place or
    diameter, or whose registration marks are not the same bytes as the others'.
    """
    marks: dict[bytes, str] = {}
    for layer in layers:
        name = f"{layer.name}.svg"
        data = files[name]
        root = ET.fromstring(data)  # noqa: S314 - our own file, written a moment ago
        _compare(name, root, layer, page)
        start = data.index(b'<g id="registration"')
        marks.setdefault(data[start : data.index(b"</g>", start)], name)
    if len(marks) > 1:
        first, second = list(marks.values())[:2]
        raise VerificationError(f"the registration marks differ from those of {first}", file=second)


def verify_tiles(files: Mapping[str, bytes], tiles: Sequence[Tile]) -> None:
    """Compare the layer files of each tile with its layers; raises as ``verify_layers``."""
    for part in tiles:
        verify_layers(files, part.layers, part.registration.page)


def _compare(name: str, root: ET.Element, layer: Layer, page: Page) -> None:
    holes = root.findall(f"{_SVG}g[@id='holes']/{_SVG}circle")
    if len(holes) != len(layer.centres):
        raise VerificationError(
            f"{len(holes)} holes were written, {len(layer.centres)} were meant", file=name
        )
    read = np.array([[float(hole.get(key, "nan")) for key in ("cx", "cy", "r")] for hole in holes])
    radius = page.diameter(layer.hole) / 2
    meant = np.column_stack((page.place(layer.centres), np.full(len(layer.centres), radius)))
    worst = _farthest(read, meant)
    if not worst <= READ_BACK_MM:
        raise VerificationError(f"a hole is {worst:.4f} mm off its place", file=name)


def _farthest(read: npt.NDArray[np.float64], meant: npt.NDArray[np.float64]) -> float:
    """Return the largest distance from a hole, meant or read, to the nearest of the others."""
    from scipy.spatial import KDTree

    there, _ = KDTree(read).query(meant)
    back, _ = KDTree(meant).query(read)
    return float(max(np.max(there), np.max(back)))
