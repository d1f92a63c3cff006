"""Lengths: read them with their unit, write them for people in mm and inches."""

from __future__ import annotations

import math
import re

from .errors import InputError

MM_PER_INCH = 25.4
#: Millimetres in one unit. CSS Values and Units, absolute lengths; 1 mil = 0.001 in (trade).
MM_PER_UNIT = {
    "mm": 1.0,
    "cm": 10.0,
    "m": 1000.0,
    "in": MM_PER_INCH,
    "inch": MM_PER_INCH,
    "inches": MM_PER_INCH,
    "mil": MM_PER_INCH / 1000.0,
    "yd": 914.4,
    "pt": MM_PER_INCH / 72.0,
    "pc": MM_PER_INCH / 6.0,
    "q": 0.25,
    "px": MM_PER_INCH / 96.0,
}
#: No length in this trade comes near a kilometre: a larger one is a slip of the key.
LARGEST_MM = 1e6

_COMMA = re.compile(r"\s*[-+]?\d+,\d+\s*[A-Za-z]*\s*\Z")
_LENGTH = re.compile(r"\s*([-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?)\s*([A-Za-z]*)\s*\Z")


def parse_length(text: str) -> float:
    """Return the length in mm of e.g. ``"0.5 mm"`` or ``"12in"``.

    Raises InputError when there is no number, no known unit, or the value is not finite.
    """
    match = _LENGTH.match(text)
    unit = match.group(2).lower() if match else ""
    if match is None or unit not in MM_PER_UNIT:
        if match is not None and not unit:
            raise InputError(f'"{text}" has no unit; write e.g. "{text.strip()} mm"')
        if _COMMA.match(text):
            dotted = text.strip().replace(",", ".")
            raise InputError(f'"{text}" is not a length: write a decimal point, "{dotted}"')
        if match is not None:
            raise InputError(
                f'"{text}" is not a length: the units are mm, cm, m, in, mil, yd, pt, pc, px'
            )
        raise InputError(f'"{text}" is not a length; write e.g. "0.5 mm"')
    value = round(float(match.group(1)) * MM_PER_UNIT[unit], 9)
    if not math.isfinite(value) or abs(value) > LARGEST_MM:
        raise InputError(f'"{text}" is too large to be a length here')
    return value


def mm(value: float, digits: int = 2) -> str:
    """Write a length in mm without trailing zeros: ``2.5 mm``."""
    return f"{number(value, digits)} mm"


def number(value: float, digits: int = 6) -> str:
    """Write a number with at most ``digits`` decimals, no trailing zeros and no minus zero."""
    text = f"{value:.{digits}f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return "0" if text in {"-0", ""} else text


def inches(value: float, digits: int = 3) -> str:
    """Write a length given in mm as inches: ``9.449 in``."""
    return f"{value / MM_PER_INCH:.{digits}f} in"


def mm_and_inches(value: float, digits: int = 1) -> str:
    """Write a length in both units: ``240.0 mm (9.449 in)``."""
    return f"{value:.{digits}f} mm ({inches(value)})"


def minutes(seconds: float) -> int:
    """Return whole minutes, at least one, rounded from tenths as reports hold them."""
    return max(round(round(seconds / 60, 1)), 1)


def percent(share: float, digits: int = 1) -> str:
    """Write a share as a percentage: ``7.6 %``."""
    return f"{share * 100:.{digits}f} %"


def counted(count: int, thing: str) -> str:
    """Return how many there are in words: ``1 template``, ``2 templates``; ``-y`` as ``-ies``."""
    if count != 1:
        thing = thing[:-1] + "ies" if thing.endswith("y") else thing + "s"
    return f"{count} {thing}"
