"""Numbers, lengths and transforms as SVG and CSS write them."""

from __future__ import annotations

import math
import re
from typing import Final

import numpy as np
import numpy.typing as npt

Matrix = npt.NDArray[np.float64]
_NUMBER: Final = r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?"
_LENGTH: Final = re.compile(rf"\s*({_NUMBER})\s*(%|[A-Za-z]*)\s*\Z", re.ASCII)
_FIND: Final = re.compile(_NUMBER, re.ASCII)
_LIST: Final = re.compile(rf"\s*(?:{_NUMBER}(?:\s*,?\s*{_NUMBER})*+)?\s*,?\s*\Z", re.ASCII)
_FUNCTION: Final = re.compile(r"\s*,?\s*([A-Za-z]+)\s*\(([^()]*)\)", re.ASCII)
_ARGUMENT: Final = re.compile(rf"\s*,?\s*({_NUMBER})(deg|rad|grad|turn|px|[a-z]{{2}})?", re.ASCII)
#: Inches in an absolute unit (CSS Values and Units 4, absolute lengths); px follows the dpi.
_INCHES: Final = {
    "in": 1.0,
    "cm": 1 / 2.54,
    "mm": 1 / 25.4,
    "q": 1 / 101.6,
    "pt": 1 / 72,
    "pc": 1 / 6,
}
_DEGREES: Final = {"deg": 1.0, "rad": 180 / math.pi, "grad": 0.9, "turn": 360.0, None: 1.0}
#: x-height and digit width of a font that is not read, in em (CSS Values allows 0.5 for both).
_HALF_EM: Final = ("ex", "ch")
IDENTITY: Final[Matrix] = np.array([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0]])


def parse_number(text: str | None) -> float | None:
    """Return a plain number, None where it is none or not finite."""
    match = _LENGTH.match(text) if text else None
    if match is None or match.group(2):
        return None
    value = float(match.group(1))
    return value if math.isfinite(value) else None


def parse_numbers(text: str) -> list[float] | None:
    """Return a list of numbers (``viewBox``, ``points``); None where it is malformed."""
    if not _LIST.match(text):
        return None
    return [float(number) for number in _FIND.findall(text)]


def split_length(text: str | None) -> tuple[float, str] | None:
    """Return (value, unit in lower case); None where it is no length or not finite."""
    match = _LENGTH.match(text) if text else None
    if match is None:
        return None
    value = float(match.group(1))
    return (value, match.group(2).lower()) if math.isfinite(value) else None


def parse_length(
    text: str | None, *, dpi: float, percent_of: float = 0.0, font_size: float = 16.0
) -> float | None:
    """Return a length in user units (px at ``dpi`` to the inch); None where it is no length."""
    parts = split_length(text)
    if parts is None:
        return None
    value, unit = parts
    if unit in ("", "px"):
        return value
    if unit in _INCHES:
        return value * _INCHES[unit] * dpi
    if unit == "%":
        return value / 100.0 * percent_of
    if unit in ("em", "rem"):
        return value * font_size
    if unit in _HALF_EM:
        return value * font_size / 2.0
    return None


def multiply(outer: Matrix, inner: Matrix) -> Matrix:
    """Return the 2 × 3 matrix that applies ``inner`` first, then ``outer``."""
    out: Matrix = outer[:, :2] @ inner
    out[:, 2] += outer[:, 2]
    return out


def translation(x: float, y: float) -> Matrix:
    """Return the matrix that moves by (x, y)."""
    return np.array([[1.0, 0.0, x], [0.0, 1.0, y]])


def parse_transform(text: str, dpi: float = 96.0) -> Matrix | None:
    """Return the matrix of a transform list; None where the list is malformed."""
    matrix, at, text = IDENTITY, 0, text.strip()
    if text in ("", "none"):
        return IDENTITY
    while at < len(text):
        match = _FUNCTION.match(text, at)
        if match is None:
            return None if text[at:].strip(" ,\t\r\n") else matrix
        step = _transform_function(match.group(1).lower(), match.group(2), dpi)
        if step is None:
            return None
        matrix, at = multiply(matrix, step), match.end()
    return matrix if np.isfinite(matrix).all() else None


def _transform_function(name: str, text: str, dpi: float) -> Matrix | None:
    values: list[float] = []
    at = 0
    for match in _ARGUMENT.finditer(text):
        if match.start() != at:
            return None
        at = match.end()
        value = _transform_argument(float(match.group(1)), match.group(2), dpi)
        if value is None:
            return None
        values.append(value)
    if text[at:].strip(" ,\t\r\n") or not all(map(math.isfinite, values)):
        return None
    return _transform_matrix(name, values)


def _transform_argument(value: float, unit: str | None, dpi: float) -> float | None:
    if unit in _DEGREES:
        return value * _DEGREES[unit]
    if unit == "px":
        return value
    return value * _INCHES[unit] * dpi if unit in _INCHES else None


def _transform_matrix(name: str, v: list[float]) -> Matrix | None:
    match name, len(v):
        case "matrix", 6:
            return np.array([[v[0], v[2], v[4]], [v[1], v[3], v[5]]])
        case "translate", 1 | 2:
            return translation(v[0], v[1] if len(v) == 2 else 0.0)
        case "translatex", 1:
            return translation(v[0], 0.0)
        case "translatey", 1:
            return translation(0.0, v[0])
        case "scale", 1 | 2:
            return np.array([[v[0], 0.0, 0.0], [0.0, v[-1], 0.0]])
        case "scalex", 1:
            return np.array([[v[0], 0.0, 0.0], [0.0, 1.0, 0.0]])
        case "scaley", 1:
            return np.array([[1.0, 0.0, 0.0], [0.0, v[0], 0.0]])
        case "rotate", 1:
            return _rotation(v[0])
        case "rotate", 3:
            about = translation(v[1], v[2])
            return multiply(multiply(about, _rotation(v[0])), translation(-v[1], -v[2]))
        case "skewx", 1:
            return np.array([[1.0, math.tan(math.radians(v[0])), 0.0], [0.0, 1.0, 0.0]])
        case "skewy", 1:
            return np.array([[1.0, 0.0, 0.0], [math.tan(math.radians(v[0])), 1.0, 0.0]])
    return None


def _rotation(degrees: float) -> Matrix:
    quarter, rest = divmod(degrees, 90.0)
    if rest == 0.0:  # quarter turns exactly, so that what was square stays square
        c, s = ((1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0))[int(quarter) % 4]
    else:
        c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
    return np.array([[c, -s, 0.0], [s, c, 0.0]])
