"""Values of users' TOML files: each reader returns the checked value, or raises InputError.

Lengths are text with a unit and become mm; shares are text in percent and become fractions;
numbers are float, or Decimal where a file's numbers are money. Readers with bounds are made by a
function that takes them.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Sequence
from decimal import Decimal
from typing import Any

from stonelayout.errors import InputError
from stonelayout.spelling import unknown
from stonelayout.units import parse_length

Reader = Callable[[Any], Any]

#: Amounts and quantities of a shop file go up to this.
LARGEST = Decimal(1_000_000)
_LEAST_STEP = Decimal("0.01")
_PERCENT = re.compile(r"\s*(\d+(?:\.\d+)?)\s*%\s*\Z")
_RGB = re.compile(r"#[0-9a-f]{6}\Z")


def text_value(value: Any, example: str = 'write it in quotes, e.g. "waves"') -> str:
    """Read text in quotes that is not blank, without blanks round it."""
    if not isinstance(value, str) or not value.strip():
        raise InputError(f"{value!r} is not text; {example}")
    return value.strip()


def words_value(value: Any) -> str:
    """Read the words of a text, over one line or several."""
    return text_value(value, 'write e.g. "Ada", with \\n between lines')


def any_text_value(value: Any) -> str:
    """Read text in quotes as it stands; it may be blank."""
    if not isinstance(value, str):
        raise InputError(f"{value!r} is not text in quotes")
    return value


def yes_no_value(value: Any) -> bool:
    """Read true or false."""
    if not isinstance(value, bool):
        raise InputError(f"{value!r} is not true or false")
    return value


def one_of(choices: Sequence[str], what: str = "") -> Callable[[Any], str]:
    """Return a reader of one of these words; ``what`` they are: the nearest one is then offered."""

    def read(value: Any) -> str:
        if value not in choices:
            listed = f"{value!r} is not one of: {', '.join(choices)}"
            raise InputError(unknown(value, choices, what) if what else listed)
        return str(value)

    return read


def several_of(choices: Sequence[str], what: str) -> Callable[[Any], tuple[str, ...]]:
    """Return a reader of a list of these words, at least one, each kept once."""

    def read(value: Any) -> tuple[str, ...]:
        if not isinstance(value, list) or not value:
            raise InputError(f"{value!r} is not a list; write e.g. {list(choices[:2])}")
        return tuple(dict.fromkeys(map(one_of(choices, what), value)))

    return read


def length_value(value: Any) -> float:
    """Read a length in mm, of either sign."""
    if not isinstance(value, str):
        raise InputError(f'{value!r} is not a length; write e.g. "0.5 mm"')
    return parse_length(value)


def positive_length_value(value: Any) -> float:
    """Read a length of more than zero in mm."""
    found = length_value(value)
    if found <= 0:
        raise InputError(f'"{value}" must be more than zero')
    return found


def length_from_zero_value(value: Any) -> float:
    """Read a length of zero or more in mm."""
    found = length_value(value)
    if found < 0:
        raise InputError(f'"{value}" is negative')
    return found


def place_value(value: Any) -> tuple[float, float]:
    """Read a place on the page, x and y in mm."""
    if not isinstance(value, list) or len(value) != 2:
        raise InputError(f'{value!r} is not a place; write e.g. ["120 mm", "60 mm"]')
    return length_value(value[0]), length_value(value[1])


def arc_value(value: Any) -> float:
    """Read the radius of an arc in mm; a negative one runs along the bottom of the circle."""
    radius = length_value(value)
    if radius == 0:
        raise InputError("an arc needs a radius; negative: along the bottom of the circle")
    return radius


def whole_number(least: int, most: int, of: str = "") -> Callable[[Any], int]:
    """Return a reader of whole numbers between these, both included; ``of`` what they count."""
    named = f"a whole number of {of}" if of else "a whole number"

    def read(value: Any) -> int:
        if isinstance(value, bool) or not isinstance(value, int) or not least <= value <= most:
            raise InputError(f"{value!r} is not {named} from {least} to {most}")
        return value

    return read


def number_between(least: float, most: float, what: str) -> Callable[[Any], float]:
    """Return a reader of finite numbers between these, both included; ``what`` names them."""

    def read(value: Any) -> float:
        if not _is_number(value) or not math.isfinite(value) or not least <= value <= most:
            raise InputError(f"{value!r} is not {what}")
        return float(value)

    return read


def number_value(value: Any) -> float:
    """Read a number of zero or more."""
    if not _is_number(value):
        raise InputError(f"{value!r} is not a number")
    return number_between(0.0, math.inf, "a number of zero or more")(value)


def fraction_value(value: Any) -> float:
    """Read a share that is written as a number from 0 up to, but not, 1."""
    share = number_value(value)
    if share >= 1:
        raise InputError(f"{value!r} is not a share from 0 to 1")
    return share


def force_value(value: Any) -> tuple[float, float]:
    """Read the least and the most force of a cutter, in grams-force."""
    if not isinstance(value, list) or len(value) != 2:
        raise InputError(f"{value!r} is not a pair [least, most] of grams-force")
    low, high = number_value(value[0]), number_value(value[1])
    if low > high:
        raise InputError(f"{value!r}: the first must not be more than the second")
    return low, high


def percent_value(value: Any) -> float:
    """Read ``"3 %"`` as a share, 0.03; from 0 to 100 %."""
    match = _PERCENT.match(value) if isinstance(value, str) else None
    if match is None or float(match.group(1)) > 100:
        raise InputError(f'{value!r} is not a share from 0 to 100; write e.g. "3 %"')
    return round(float(match.group(1)) / 100.0, 9)


def money_value(value: Any) -> Decimal:
    """Read an amount of money from 0 to LARGEST."""
    return _decimal(value, "an amount", "; write e.g. 12.50")


def money_step_value(value: Any) -> Decimal:
    """Read the step that prices are rounded to: whole cents, at least one."""
    amount = money_value(value)
    if amount < _LEAST_STEP or amount % _LEAST_STEP:
        raise InputError(f"{value} is not a step of whole cents such as 0.01, 0.50 or 5")
    return amount


def quantity_value(value: Any) -> Decimal:
    """Read a number from 0 to LARGEST, such as minutes."""
    return _decimal(value, "a number")


def rate_value(value: Any) -> Decimal:
    """Read a number of pieces a minute, from 0.01 to LARGEST."""
    amount = quantity_value(value)
    if amount < _LEAST_STEP:
        raise InputError(f"{value} must be more than zero")
    return amount


def _decimal(value: Any, what: str, example: str = "") -> Decimal:
    if isinstance(value, bool) or not isinstance(value, (int, Decimal)):
        raise InputError(f"{value!r} is not {what}{example}")
    amount = Decimal(value)
    if not amount.is_finite() or not 0 <= amount <= LARGEST:
        raise InputError(f"{value} is not {what} from 0 to {LARGEST}")
    return amount


def _is_number(value: Any) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool)


def rgb_value(value: Any) -> str:
    """Read a colour written ``#rrggbb``, in small letters."""
    if not isinstance(value, str) or not _RGB.match(value.lower()):
        raise InputError(f'{value!r} is not a colour; write e.g. "#1f4fa8"')
    return value.lower()


def css_colour_value(value: Any) -> str:
    """Read any CSS colour as ``#rrggbb``."""
    text = text_value(value)
    return _css_colour(text, f'"{value}" is not a colour; write e.g. "#1f4fa8" or "red"')


def paint_value(value: Any) -> str:
    """Read a fill or stroke: ``none``, or any CSS colour as ``#rrggbb``."""
    text = text_value(value)
    if text.lower() == "none":
        return "none"
    return _css_colour(text, f'"{text}" is not a colour; write e.g. "#1f4fa8", "red" or "none"')


def _css_colour(text: str, wrong: str) -> str:
    from tinycss2.color3 import parse_color

    rgba = parse_color(text)
    if rgba is None or isinstance(rgba, str):
        raise InputError(wrong)
    return "#" + "".join(f"{round(part * 255):02x}" for part in rgba[:3])
