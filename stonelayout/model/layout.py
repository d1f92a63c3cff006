"""A layout: the stones laid, in the artwork's mm frame, and its file format."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from stonelayout.errors import LayoutError
from stonelayout.findings import Finding

VERSION = 1
#: Positions are written with this many decimals of a mm: a nanometre, far below any cutter.
DECIMALS = 6
#: No place or diameter of a layout is beyond this: a kilometre of sheet.
MOST_MM = 1e6
#: The most kinds of stone; each is a template of its own, so that any real layout has far fewer.
MOST_KINDS = 500


@dataclass(frozen=True)
class Kind:
    """One kind of stone: size (``ss6``), colour (a plain word), nominal diameter in mm."""

    size: str
    colour: str
    diameter: float

    @property
    def name(self) -> str:
        """Name as it stands in file names and messages: ``ss6-crystal``."""
        return f"{self.size}-{self.colour}"


@dataclass(frozen=True)
class Fill:
    """The stones ``start`` to ``end`` (not included) that rule ``rule`` filled a shape with."""

    shape: str
    rule: int
    start: int
    end: int


@dataclass(frozen=True, eq=False)
class Layout:
    """The stones laid.

    ``size`` is the page (width, height) in mm; ``centres`` has shape (n, 2), mm, y down;
    ``kind`` has shape (n,) and indexes ``kinds``; ``source`` names the shape of each stone.
    ``sheet`` names the template sheet it was laid for, "" where that is not known.
    ``findings`` holds what laying had to say (stones removed, shapes not laid), ``fills`` which
    stones fill which shape: both are reported, not stored in the file.
    """

    size: tuple[float, float]
    kinds: tuple[Kind, ...]
    centres: npt.NDArray[np.float64]
    kind: npt.NDArray[np.intp]
    source: tuple[str, ...]
    findings: tuple[Finding, ...] = ()
    fills: tuple[Fill, ...] = ()
    sheet: str = ""

    def __len__(self) -> int:
        return len(self.centres)

    @property
    def diameters(self) -> npt.NDArray[np.float64]:
        """Nominal diameter of each stone in mm, shape (n,)."""
        return np.array([kind.diameter for kind in self.kinds], dtype=np.float64)[self.kind]

    def counts(self) -> tuple[int, ...]:
        """Return the number of stones of each kind, in the order of ``kinds``."""
        found = np.bincount(self.kind, minlength=len(self.kinds))
        return tuple(int(count) for count in found)

    def as_written(self) -> Layout:
        """Return the layout with all lengths rounded to DECIMALS, as its file holds them."""
        return replace(
            self,
            size=(round(self.size[0], DECIMALS), round(self.size[1], DECIMALS)),
            kinds=tuple(replace(k, diameter=round(k.diameter, DECIMALS)) for k in self.kinds),
            centres=np.round(self.centres, DECIMALS) + 0.0,
        )

    def to_json(self) -> str:
        """Return the layout file's text, JSON of format version 1."""
        written = self.as_written()
        head = {
            "version": VERSION,
            "unit": "mm",
            "size": list(written.size),
            "kinds": [
                {"size": k.size, "colour": k.colour, "diameter": k.diameter} for k in written.kinds
            ],
            "centres": written.centres.tolist(),
            "kind": self.kind.tolist(),
            "source": list(self.source),
        }
        if self.sheet:
            head["sheet"] = self.sheet
        return json.dumps(head, ensure_ascii=False) + "\n"

    @classmethod
    def from_json(cls, text: str, file: str = "layout") -> Layout:
        """Read a layout file's text. Raises LayoutError naming the key that is wrong."""
        try:
            data = json.loads(text.removeprefix("\ufeff"))
        except json.JSONDecodeError as error:
            raise LayoutError(f"not JSON: {error.msg}", file=file, line=error.lineno) from None
        except ValueError:  # whole numbers of over 4,300 digits
            raise LayoutError("a number in it is too long", file=file) from None
        except RecursionError:
            raise LayoutError("nested too deep to be a layout", file=file) from None
        try:
            return _from_data(data)
        except LayoutError as error:
            raise error.in_file(file) from None


def _from_data(data: Any) -> Layout:
    if not isinstance(data, dict):
        raise LayoutError("not a layout: a JSON object with version, size, kinds is expected")
    if data.get("version") != VERSION:
        raise LayoutError(f'"version" is {data.get("version")!r}; this program reads {VERSION}')
    if data.get("unit") != "mm":
        raise LayoutError('"unit" must be "mm"')
    for key in ("size", "kinds", "centres", "kind", "source"):
        if not isinstance(data.get(key), list):
            raise LayoutError(f'"{key}" is missing or not a list')
    if len(data["kinds"]) > MOST_KINDS:
        raise LayoutError(f'"kinds" has {len(data["kinds"])} entries (most {MOST_KINDS})')
    kinds = tuple(_kind(entry, k) for k, entry in enumerate(data["kinds"]))
    size = _numbers(data["size"], (2,), "size")
    centres = _numbers(data["centres"], (-1, 2), "centres")
    kind = data["kind"]
    if len(centres) != len(kind) or len(kind) != len(data["source"]):
        raise LayoutError('"centres", "kind" and "source" must have the same length')
    if not all(type(k) is int and 0 <= k < len(kinds) for k in kind):
        raise LayoutError('"kind" must hold whole numbers that index "kinds"')
    if not all(isinstance(name, str) and _is_text(name) for name in data["source"]):
        raise LayoutError('"source" must hold shape ids')
    if not isinstance(data.get("sheet", ""), str):
        raise LayoutError('"sheet" must be the name of a template sheet')
    if min(size) <= 0:
        raise LayoutError('"size" must be positive')
    return Layout(
        size=(float(size[0]), float(size[1])),
        kinds=kinds,
        centres=centres,
        kind=np.array(kind, dtype=np.intp),
        source=tuple(data["source"]),
        sheet=data.get("sheet", ""),
    )


def _kind(entry: Any, index: int) -> Kind:
    where = f'"kinds"[{index}]'
    if not isinstance(entry, dict):
        raise LayoutError(f"{where} must have size, colour and diameter")
    size, colour, diameter = (entry.get(key) for key in ("size", "colour", "diameter"))
    words = [word for word in (size, colour) if isinstance(word, str) and word.isprintable()]
    if len(words) < 2 or not all(words):
        raise LayoutError(f"{where}: size and colour must be words")
    if not isinstance(diameter, (int, float)) or isinstance(diameter, bool):
        raise LayoutError(f"{where}: diameter must be a number of mm")
    if not 0 < diameter <= MOST_MM:
        raise LayoutError(f"{where}: diameter must be positive, and {MOST_MM:,.0f} mm at most")
    return Kind(words[0], words[1], float(diameter))


def _numbers(value: list[Any], shape: Sequence[int], key: str) -> npt.NDArray[np.float64]:
    try:
        found = np.array(value, dtype=np.float64).reshape(shape)
    except (TypeError, ValueError, OverflowError):
        raise LayoutError(f'"{key}" must hold pairs of numbers') from None
    if not np.isfinite(found).all():
        raise LayoutError(f'"{key}" holds a number that is not finite')
    if (np.abs(found) > MOST_MM).any():
        raise LayoutError(f'"{key}" holds a number beyond {MOST_MM:,.0f} mm')
    return found


def _is_text(word: str) -> bool:
    """Tell whether text can be written: JSON may hold halves of characters."""
    try:
        word.encode("utf-8")
    except UnicodeEncodeError:
        return False
    return True
