"""Compare two pictures of a drawing: what was read (as seen.svg) against a reference renderer."""

import io
import re

import numpy as np
from PIL import Image

#: Grey levels that antialiasing may differ by.
LEVELS = 64


def render(svg, size, *, stretch=False):
    """Render SVG text with resvg (MIT) at a pixel size, as an RGBA array."""
    import resvg_py

    width, height = size
    if stretch:  # seen.svg keeps the page in mm; the picture's own rounding decides here
        svg = re.sub(
            r' width="[^"]*" height="[^"]*"',
            f' width="{width}" height="{height}" preserveAspectRatio="none"',
            svg,
            count=1,
        )
    data = resvg_py.svg_to_bytes(svg_string=svg, width=width, height=height, dpi=96.0)
    return np.asarray(Image.open(io.BytesIO(bytes(data))).convert("RGBA"), dtype=float)


def opened(path):
    """Return a PNG file as an RGBA array."""
    return np.asarray(Image.open(path).convert("RGBA"), dtype=float)


def coverage(picture):
    """Return where anything is painted, half-transparent paint counting as paint."""
    return np.minimum(255.0, 2.0 * picture[..., 3])


def differing(one, other):
    """Count pixels of either picture that nothing within one pixel's reach in the other matches."""
    if one.shape != other.shape:
        return one.size
    return max(_unmatched(one, other), _unmatched(other, one))


def _unmatched(one, other):
    padded = np.pad(other, 1, mode="edge")
    low, high = np.full_like(one, np.inf), np.full_like(one, -np.inf)
    for dy in range(3):
        for dx in range(3):
            window = padded[dy : dy + one.shape[0], dx : dx + one.shape[1]]
            low, high = np.minimum(low, window), np.maximum(high, window)
    return int(((one < low - LEVELS) | (one > high + LEVELS)).sum())
