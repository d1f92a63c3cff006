"""Paint: what ``fill`` and ``stroke`` say, reduced to one flat colour."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from .cascade import Cascade
from .colours import parse_colour
from .document import Node, children
from .style_properties import Properties, opacity, plain_colour, reference

_GRADIENTS: Final = ("linearGradient", "radialGradient", "meshgradient")
#: How many templates a chain of gradients may have.
_MOST_LINKS: Final = 16


@dataclass(frozen=True)
class Paint:
    """One flat colour, or None for no paint; ``note`` says what was made flat."""

    colour: str | None
    note: str = ""


NO_PAINT: Final = Paint(None)


def resolve(name: str, properties: Properties, ids: Mapping[str, Node], cascade: Cascade) -> Paint:
    """Return the paint of ``"fill"`` or ``"stroke"``; invisible paint is None."""
    text = properties[name]
    if text == "none" or (opacity(properties[f"{name}-opacity"]) or 0.0) == 0.0:
        return NO_PAINT
    link = reference(text)
    if link is None:
        return Paint(_colour(text, properties["color"]))
    target = ids.get(link[0])
    if target is not None and target.tag in _GRADIENTS:
        colour = _gradient_colour(target, ids, cascade)
        return Paint(colour, f"a gradient {name} was read as one flat colour" if colour else "")
    if target is not None and target.tag == "pattern":
        return Paint("#808080", f"a pattern {name} was read as one flat grey")
    if link[1]:
        return Paint(_colour(link[1], properties["color"]))
    return NO_PAINT


def _colour(text: str, current: str) -> str | None:
    text = plain_colour(text)
    parsed = parse_colour(text)
    if parsed is not None and parsed[0] == "currentcolor":
        parsed = parse_colour(current)
    if parsed is None or parsed[1] == 0.0:
        return None
    return parsed[0]


def _gradient_colour(gradient: Node, ids: Mapping[str, Node], cascade: Cascade) -> str | None:
    """Return the colour of the first stop that can be seen, following templates."""
    node: Node | None = gradient
    for _ in range(_MOST_LINKS):
        if node is None:
            return None
        stops = [child for child in children(node) if child.tag == "stop"]
        for stop in stops:
            own = cascade.own(stop)
            alpha = opacity(own.get("stop-opacity", "1"))
            colour = _colour(own.get("stop-color", "#000000"), own.get("color", "#000000"))
            if colour is not None and alpha != 0.0:
                return colour
        if stops:
            return None
        href = node.attrib.get("href") or node.attrib.get("xlink:href") or ""
        node = ids.get(href.removeprefix("#")) if href.startswith("#") else None
    return None
