"""The characters of a ``text`` element: white space, the properties of each, given places."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import Final

from stonelayout.errors import ArtworkError

from . import unsupported
from .basic_shapes import Units
from .context import Context, GraphicsState
from .css_values import parse_numbers
from .document import Node, children
from .style_properties import Properties, opacity

#: Characters of all texts of one drawing together, unfolded by ``use``.
MOST_CHARACTERS: Final = 10_000
#: Children of a text that draw nothing.
_SILENT: Final = (
    frozenset(("title", "desc", "metadata", "style", "script")) | unsupported.ANIMATIONS
)
_NOT_READ: Final = {
    "textPath": "text on a path is not read",
    "tref": "text taken from elsewhere (tref) is not read",
    "altGlyph": "alternate glyphs (altGlyph) are not read",
}


class NotReadError(Exception):
    """A text that cannot be set; its words say why."""


class FontError(Exception):
    """A text without the right font; its words say why and what to do."""


@dataclass(frozen=True, eq=False)
class TextPart:
    """The style of the characters of one element. ``drawn``: they can be seen."""

    node: Node
    properties: Properties
    units: Units
    drawn: bool
    keeps_space: bool


@dataclass(frozen=True)
class Character:
    """One character, with its place where the drawing gives one (user units, degrees)."""

    char: str
    part: TextPart
    x: float | None = None
    y: float | None = None
    dx: float = 0.0
    dy: float = 0.0
    turn: float = 0.0


@dataclass(eq=False)
class CharacterList:
    """Collects the characters of one ``text`` in document order."""

    context: Context
    state: GraphicsState
    chars: list[tuple[str, TextPart]] = field(default_factory=list)
    #: Elements with the first and last (exclusive) character of each, outer ones first.
    extents: list[tuple[TextPart, int, int]] = field(default_factory=list)

    def read(self, node: Node) -> list[Character]:
        """Return all addressable characters. Raises NotReadError for what cannot be set."""
        self._element(node, self.state.properties, shown=True)
        if self.chars and self.chars[-1][0] == " " and not self.chars[-1][1].keeps_space:
            self.chars.pop()
        places: list[dict[str, float]] = [{} for _ in self.chars]
        for part, first, last in self.extents:
            last = min(last, len(places))
            for name in ("x", "y", "dx", "dy"):
                values = _lengths(part, name)[: max(0, last - first)]
                for k, value in enumerate(values, start=first):
                    places[k][name] = value
            turns = parse_numbers(part.node.attrib.get("rotate", "")) or []
            for k in range(first, last) if turns else ():
                places[k]["turn"] = turns[min(k - first, len(turns) - 1)]
        pairs = zip(self.chars, places, strict=True)
        return [Character(char, part, **place) for (char, part), place in pairs]

    def _element(self, node: Node, properties: Properties, *, shown: bool) -> None:
        shown = shown and opacity(properties["opacity"]) != 0.0
        part = self._text_part(node, properties, shown=shown)
        place = len(self.extents)
        first = len(self.chars)
        self.extents.append((part, first, first))
        self._add(node.text, part)
        for child in children(node):
            if child.tag in ("tspan", "a"):
                own = self.context.cascade.computed(child, properties)
                if own["display"] != "none":
                    self._element(child, own, shown=shown)
            elif child.tag not in _SILENT and not child.tag.startswith("{"):
                words = f"<{child.tag}> inside a text is not read"
                raise NotReadError(_NOT_READ.get(child.tag, words))
            self._add(child.tail, part)
        self.extents[place] = (part, first, len(self.chars))

    def _text_part(self, node: Node, properties: Properties, *, shown: bool) -> TextPart:
        reason = _unread_style(properties)
        if reason:
            raise NotReadError(reason)
        units = Units(self.state.viewport, float(properties["font-size"]), self.context.dpi)
        painted = properties["fill"] != "none" or properties["stroke"] != "none"
        drawn = shown and painted and properties["visibility"] == "visible"
        return TextPart(node, properties, units, drawn, self._keeps_space(node, properties))

    def _keeps_space(self, node: Node, properties: Properties) -> bool:
        if properties["white-space"] in ("pre", "pre-wrap", "break-spaces"):
            return True
        at: Node | None = node
        while at is not None:
            if "xml:space" in at.attrib:
                return at.attrib["xml:space"] == "preserve"
            at = self.context.parents.get(at)
        return False

    def _add(self, text: str | None, part: TextPart) -> None:
        """Add characters; white space is collapsed as SVG 2 has it (section 11.7.4)."""
        if not text:
            return
        change = part.properties["text-transform"].lower()
        text = {"uppercase": text.upper, "lowercase": text.lower}.get(change, text.__str__)()
        for char in re.sub(r"\r\n|[\r\n\t\f]", " ", text):
            if char == " " and not part.keeps_space:
                before = self.chars[-1] if self.chars else None
                if before is None or before[0] == " ":
                    continue
            self.chars.append((char, part))
        self.context.characters += len(text)
        if self.context.characters > MOST_CHARACTERS:
            raise ArtworkError(f"over {MOST_CHARACTERS:,} characters of text; refused")


def _unread_style(properties: Properties) -> str:
    """Return why text of such a style cannot be set, "" where it can."""
    if not properties["writing-mode"].lower().startswith(("horizontal", "lr", "rl")):
        return "vertical text is not read"
    if properties["font-variant"].lower() not in ("normal", "none"):
        return f"font-variant: {properties['font-variant']} is not read"
    if properties["text-transform"].lower() not in ("none", "uppercase", "lowercase"):
        return f"text-transform: {properties['text-transform']} is not read"
    shift = properties["baseline-shift"].lower()
    if shift in ("sub", "super"):
        return f"text moved off its line (baseline-shift: {shift}) is not read"
    return ""


def _lengths(part: TextPart, name: str) -> list[float]:
    """Return a list of places of an element; what is wrong from some entry on is left out."""
    out: list[float] = []
    for entry in part.node.attrib.get(name, "").replace(",", " ").split():
        value = part.units.length(entry, name[-1])
        if value is None:
            break
        out.append(value)
    return out
