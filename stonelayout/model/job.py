"""A job file: strict TOML, read whole, every problem listed at once with its line."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from stonelayout.errors import CatalogueError, InputError, JobError
from stonelayout.spelling import unknown
from stonelayout.toml.places import Places, read_toml
from stonelayout.toml.tables import TableReader
from stonelayout.toml.values import (
    Reader,
    length_value,
    number_between,
    one_of,
    paint_value,
    percent_value,
    positive_length_value,
    several_of,
    text_value,
    whole_number,
    yes_no_value,
)
from stonelayout.units import number

from .catalogue import DEFAULT_SHEET, Catalogue, Sheet, Stone
from .job_texts import read_texts
from .names import Entry, LeftOut, filled
from .pattern_options import PATTERNS, SIZES_OF, Pattern, strokes_value
from .text import Text

CUT_FORMATS = ("svg", "dxf", "hpgl", "pdf")
PROOF_FORMATS = ("svg", "html", "png")
#: Web added to the sheet's least when a rule gives no pitch, gap or web: a little to spare.
SPARE_WEB_MM = 0.05
_SPACINGS = ("pitch", "gap", "web")
_PICK_KEYS = ("layer", "id", "fill", "stroke", "all", "rest")


@dataclass(frozen=True)
class Pick:
    """Which shapes a rule takes: every key given must match.

    ``all`` takes every shape, ``rest`` those that no earlier rule has taken.
    """

    layer: str | None = None
    id: str | None = None
    fill: str | None = None
    stroke: str | None = None
    all: bool = False
    rest: bool = False

    def __str__(self) -> str:
        given = ((key, getattr(self, key)) for key in _PICK_KEYS[:4])
        words = [f'{key} "{value}"' for key, value in given if value is not None]
        return " and ".join(words) or ("shapes left over" if self.rest else "all shapes")


@dataclass(frozen=True)
class Rule:
    """One ``[[lay]]`` rule, resolved: stones (largest first) with their pitches in mm.

    ``pitches[i]`` is the least centre distance between two stones of ``stones[i]``. ``key`` and
    ``place`` name the rule in messages (``lay[1]``, ``job.toml:8``). ``strokes`` says that the
    rule lays on strokes, as ``"line"`` or ``"area"``; None: on fills, and on the strokes of shapes
    without one, as lines for rows and as areas else.

    Options that are not given get their defaults. Raises JobError for a pattern or option that
    does not exist, sizes that the pattern does not take, and pitches at which stones would touch.
    """

    pick: Pick
    stones: tuple[Stone, ...]
    pitches: tuple[float, ...]
    colour: str
    pattern: str
    options: Mapping[str, Any] = field(default_factory=dict)
    key: str = "lay[1]"
    place: str = ""
    strokes: str | None = None

    def __post_init__(self) -> None:
        problems = list(self._problems())
        if problems:
            raise JobError(f"{self.place or self.key}: {problem}" for problem in problems)
        object.__setattr__(self, "options", {**PATTERNS[self.pattern].defaults(), **self.options})

    def _problems(self) -> Iterable[str]:
        if self.pattern not in PATTERNS:
            yield unknown(self.pattern, PATTERNS, "pattern")
            return
        spec = PATTERNS[self.pattern]
        known = [option.name for option in spec.options]
        yield from (unknown(name, known, "option") for name in self.options if name not in known)
        if not self.stones or len(self.stones) != len(self.pitches):
            yield f"{len(self.stones)} stone sizes with {len(self.pitches)} pitches"
        if len(self.stones) > 1 and not spec.several:
            yield _one_size(self.pattern)
        for stone, pitch in zip(self.stones, self.pitches, strict=False):
            if not pitch >= stone.max:
                yield _too_near(stone, pitch)


@dataclass(frozen=True)
class Job:
    """A whole job. Lengths in mm; ``spare`` is a share (0.03 for 3 %).

    ``copies`` is how many transfers are ordered, ``pressed`` whether we press them on garments,
    ``shop`` names the shop's price file, beside the job file. ``artwork`` is None for a job of
    texts only, ``artwork_place`` is where the file is named (``job.toml:2``); ``label`` and
    ``line`` name one line of a names list. ``width`` and ``height`` are those of what ``size_of``
    names, ``"page"`` (also None) or ``"design"``. ``knock_out``, ``colours`` and ``text_font`` (for
    text whose own font is not installed) are how the artwork is read (see ``read_drawing``);
    ``tile``: a design larger than the sheet is cut in tiles instead of refused.
    """

    artwork: str | None
    rules: tuple[Rule, ...]
    sheet: Sheet
    catalogue: Catalogue
    width: float | None = None
    height: float | None = None
    size_of: str | None = None
    dpi: float = 96.0
    knock_out: str | None = None
    colours: int | None = None
    text_font: str | None = None
    copies: int = 1
    spare: float = 0.03
    pressed: bool = True
    tile: bool = False
    shop: str | None = None
    cut: tuple[str, ...] = ("svg",)
    garment: str = "navy"
    proof: tuple[str, ...] = ("svg", "html")
    file: str = "job"
    artwork_place: str = ""
    texts: tuple[Text, ...] = ()
    label: str = ""
    line: int = 0

    @property
    def name(self) -> str:
        """The job's name: its label, or its file name without the ending."""
        return self.label or Path(self.file).stem


def pitch_for(
    stone: Stone, sheet: Sheet, spacing: str | None = None, value: float | None = None
) -> float:
    """Return the pitch in mm that a pitch, a gap or a web asks for; none: the least with spare.

    pitch = stone + gap = hole + web. Raises InputError when stones would not even fit side by
    side: the largest of the size must not touch.
    """
    if spacing is None or value is None:
        return sheet.hole(stone.diameter) + sheet.least_web + SPARE_WEB_MM
    base = {"pitch": 0.0, "gap": stone.diameter, "web": sheet.hole(stone.diameter)}[spacing]
    pitch = round(base + value, 9)
    if pitch < stone.max:
        raise InputError(_too_near(stone, pitch))
    return pitch


def _too_near(stone: Stone, pitch: float) -> str:
    return (
        f"a pitch of {number(pitch, 3)} mm is less than the stone: {stone.name} measures up to "
        f"{number(stone.max, 2)} mm"
    )


def _one_size(pattern: str) -> str:
    takes = ", ".join(name for name, spec in PATTERNS.items() if spec.several)
    return f"{pattern} takes one size, not a list (lists go with: {takes})"


def make_rule(
    values: Mapping[str, Any], sheet: Sheet, catalogue: Catalogue, key: str = "rule"
) -> Rule:
    """Return one rule from what stands in a ``[[lay]]`` table, checked as in a job file.

    ``values`` has the keys of such a table: ``pick`` (none: all shapes), ``stone``, ``colour``,
    ``pattern``, one of ``pitch``, ``gap`` and ``web``, ``strokes``, and the pattern's options.
    Lengths are text with a unit, or numbers in mm. ``key`` names the rule in messages. Raises
    JobError that lists every problem.
    """
    lengths = {*_SPACINGS, *(o.name for o in _ANY_PATTERN.options if o.reader == "length")}
    raw = {"pick": {"all": True}} | {
        name: f"{float(value)!r} mm"
        if name in lengths and isinstance(value, (int, float)) and not isinstance(value, bool)
        else list(value)
        if isinstance(value, tuple)
        else value
        for name, value in values.items()
    }
    reader = _JobReader(Places("", key), catalogue)
    rule = reader.rule(key, raw, sheet)
    if rule is None:
        raise JobError(
            problem.replace(f"{key}.", "", 1).replace(f"{key}: {key}: ", f"{key}: ", 1)
            for problem in reader.problems
        )
    return rule


def parse_job(
    text: str,
    file: str,
    catalogue: Catalogue,
    entry: Entry | None = None,
) -> Job:
    """Read a job file's text. Raises JobError that lists every problem found.

    ``entry`` is the line of the names list whose cells fill the placeholders.
    """
    data = read_toml(text, file)
    if entry is None and "names" in data:
        raise JobError([f"{file}: this job has a names list: it is made line by line, by make"])
    if entry is not None:
        try:
            data = filled(data, entry.values)
        except InputError as error:
            raise JobError([f"{file}: {error.message}"]) from None
    reader = _JobReader(Places(text, file), catalogue)
    job = reader.job(data, file)
    if reader.problems or job is None:
        raise JobError(reader.problems)
    if entry is None:
        return job
    return replace(job, label=entry.label, line=entry.line, copies=entry.copies)


def _knock_out(value: Any) -> str:
    return "background" if value == "background" else paint_value(value)


def _yes(value: Any) -> bool:
    if value is not True:
        raise InputError(f"{value!r}: write true, or name shapes by layer, id or fill")
    return True


_ARTWORK: Mapping[str, Reader] = {
    "file": text_value,
    "width": positive_length_value,
    "height": positive_length_value,
    "size_of": one_of(SIZES_OF, "thing to size"),
    "dpi": number_between(1, 10000, "a number of pixels an inch, such as 96, 90 or 72"),
    "knock_out": _knock_out,
    "colours": whole_number(2, 64, "colours"),
    "text_font": text_value,
}
_ORDER: Mapping[str, Reader] = {
    "copies": whole_number(1, 1_000_000),
    "spare": percent_value,
    "pressed": yes_no_value,
}
_TABLES = ("artwork", "text", "names", "sheet", "lay", "order", "shop", "outputs")
#: Reads the rest of a rule whose pattern is not known: every option, any number of sizes.
_ANY_PATTERN = Pattern(
    "", tuple({o.name: o for p in PATTERNS.values() for o in p.options}.values()), several=True
)
_PICK_READERS: Mapping[str, Reader] = {
    "layer": text_value,
    "id": text_value,
    "fill": paint_value,
    "stroke": paint_value,
    "all": _yes,
    "rest": _yes,
}


class _JobReader(TableReader):
    """Reads a job's tables and keeps every problem."""

    def __init__(self, places: Places, catalogue: Catalogue) -> None:
        super().__init__(places)
        self.catalogue = catalogue

    def job(self, data: Mapping[str, Any], file: str) -> Job | None:
        self.only(data, _TABLES)
        artwork = self.table(data, "artwork", _ARTWORK)
        texts = read_texts(self, data.get("text"))
        named = data.get("artwork") or {}
        no_file = not isinstance(named, dict) or "file" not in named
        if no_file and ("artwork" in data or not data.get("text")):
            self.problem("artwork", 'missing: [artwork] with file = "NAME.svg", or a [[text]]')
        cut_from = self.table(data, "sheet", {"use": self._sheet, "tile": yes_no_value})
        sheet = cut_from.get("use")
        if sheet is None:
            sheet = self.catalogue.sheet(DEFAULT_SHEET)
        order = self.table(data, "order", _ORDER)
        shop = self.table(data, "shop", {"file": text_value}).get("file")
        outputs = self.table(
            data,
            "outputs",
            {
                "cut": several_of(CUT_FORMATS, "format"),
                "proof": several_of(PROOF_FORMATS, "format"),
                "garment": self._colour,
            },
        )
        rules = self.rules(data.get("lay"), sheet)
        if self.problems:
            return None
        return Job(
            artwork=artwork.pop("file", None),
            texts=texts,
            rules=rules,
            sheet=sheet,
            catalogue=self.catalogue,
            file=file,
            artwork_place=f"{file}:{self.places.line('artwork.file')}",
            shop=shop,
            tile=cut_from.get("tile", False),
            **artwork,
            **order,
            **outputs,
        )

    def _sheet(self, value: Any) -> Sheet:
        return self.catalogue.sheet(text_value(value))

    def _colour(self, value: Any) -> str:
        self.catalogue.rgb(text_value(value))
        return text_value(value).lower()

    def rules(self, raw: Any, sheet: Sheet) -> tuple[Rule, ...]:
        if raw is None or raw == []:
            self.problem("lay", "missing: at least one [[lay]] rule says which stones go where")
            return ()
        entries = self.array("lay", raw, "rule") or ()
        rules = (
            self.rule(f"lay[{k}]", entry, sheet)
            for k, entry in enumerate(entries, start=1)
            if not isinstance(entry, LeftOut)
        )
        return tuple(rule for rule in rules if rule is not None)

    def rule(self, key: str, raw: Mapping[str, Any], sheet: Sheet) -> Rule | None:
        before = len(self.problems)
        pattern = raw.get("pattern", "courses")
        spec = PATTERNS.get(pattern) if isinstance(pattern, str) else None
        if spec is None:
            self.problem(f"{key}.pattern", unknown(pattern, PATTERNS, "pattern"))
            spec = _ANY_PATTERN
        readers: dict[str, Reader] = {
            "pick": lambda value: self.pick(f"{key}.pick", value),
            "stone": lambda value: self.stones(value, spec.several, pattern),
            "colour": self._colour,
            "pattern": text_value,
            "strokes": lambda value: strokes_value(value, pattern),
            "pitch": positive_length_value,
            "gap": length_value,
            "web": length_value,
        }
        readers |= {option.name: option.read for option in spec.options}
        found = self.keys(key, raw, readers)
        for needed in ("pick", "stone", "colour"):
            if needed not in raw:
                self.problem(key, f"missing {needed}")
        given = [name for name in _SPACINGS if name in raw]
        if len(given) > 1:
            self.problem(key, f"give one of pitch, gap and web, not {' and '.join(given)}")
        if len(self.problems) > before:
            return None
        spacing = given[0] if given else None
        pitches = self.value(
            f"{key}.{spacing}" if spacing else key,
            lambda stones: tuple(
                pitch_for(stone, sheet, spacing, found[spacing] if spacing else None)
                for stone in stones
            ),
            found["stone"],
        )
        if pitches is None:
            return None
        options = {option.name: found.get(option.name, option.default) for option in spec.options}
        line = self.places.line(key)
        return Rule(
            pick=found["pick"],
            stones=found["stone"],
            pitches=pitches,
            colour=found["colour"],
            pattern=pattern,
            options=options,
            strokes=found.get("strokes"),
            key=key,
            place=f"{self.places.file}:{line}" if line else self.places.file,
        )

    def pick(self, key: str, value: Any) -> Pick | None:
        if not isinstance(value, dict) or not value:
            raise InputError('write e.g. { layer = "waves" }, { fill = "#1f4fa8" }, { all = true }')
        found = self.keys(key, value, _PICK_READERS)
        return Pick(**found) if len(found) == len(value) else None

    def stones(self, value: Any, several: bool, pattern: str) -> tuple[Stone, ...]:
        names: Iterable[Any] = value if isinstance(value, list) else [value]
        found = [self.catalogue.stone(text_value(name)) for name in names]
        if not found:
            raise InputError("the list of stones is empty")
        if len(found) > 1 and not several:
            raise InputError(_one_size(pattern))
        if len({stone.name for stone in found}) < len(found):
            raise CatalogueError("a size stands twice in the list")
        return tuple(sorted(found, key=lambda stone: -stone.diameter))
