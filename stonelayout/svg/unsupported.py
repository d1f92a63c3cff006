"""What is not read: the reason for each kind of element, and the list of all that was met."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from stonelayout.model.artwork import Skipped

#: Elements that draw something which is not read, and what to do about it.
NOT_READ: Final = {
    "text": "text is not read: convert text to outlines (paths) in the drawing program",
    "image": "a picture has no outlines: trace it first",
    "foreignObject": "foreign content is not drawn: redraw it as shapes",
    "video": "a video has no outlines",
    "audio": "sound has no outlines",
    "iframe": "a page has no outlines",
    "canvas": "a canvas has no outlines",
    "flowRoot": "flowed text is not read: convert text to outlines in the drawing program",
}
#: Elements that draw nothing themselves.
SILENT: Final = frozenset(
    (
        "title", "desc", "metadata", "defs", "symbol", "style", "script", "linearGradient",
        "radialGradient", "meshgradient", "pattern", "clipPath", "mask", "marker", "filter", "view",
        "cursor", "stop", "font", "font-face", "glyph", "missing-glyph", "color-profile", "hatch",
        "solidColor", "solidcolor", "namedview", "hkern", "vkern", "discard",
    )
)  # fmt: skip
ANIMATIONS: Final = frozenset(
    ("animate", "animateColor", "animateMotion", "animateTransform", "set", "mpath")
)
HIDDEN: Final = "hidden (display: none)"
INVISIBLE: Final = "hidden (visibility)"
TRANSPARENT: Final = "fully transparent (opacity 0)"
UNPAINTED: Final = "has neither fill nor stroke"
NO_AREA: Final = "draws nothing: no stroke, and what is filled has no area"
MASKED: Final = "its mask is not read: it was taken whole; cut the shape in the drawing program"
FILTERED: Final = "its filter (shadow, blur) is not read: it was taken plain"
MARKED: Final = "its markers (arrow heads) are not read: convert the stroke to a path"
OFF_PAGE: Final = "stands wholly outside the page"
CLIPPED_AWAY: Final = "is wholly clipped away"
#: Reasons of what is not seen in the drawing either; one entry for all of a kind in a layer.
DRAWS_NOTHING: Final = frozenset((HIDDEN, INVISIBLE, TRANSPARENT, UNPAINTED, NO_AREA, CLIPPED_AWAY))


class SkipList:
    """Collects what was not read; elements hidden for one reason in one layer are counted."""

    def __init__(self) -> None:
        self._entries: dict[tuple[object, ...], Skipped] = {}

    def add(
        self,
        what: str,
        reason: str,
        *,
        element_id: str,
        layer: str,
        line: int,
        count: int = 1,
        drawn: bool = False,
    ) -> None:
        """Add one element."""
        key: tuple[object, ...] = (what, reason, layer)
        if reason not in DRAWS_NOTHING:
            key = (*key, element_id, line)
        old = self._entries.get(key)
        if old is None:
            self._entries[key] = Skipped(what, reason, element_id, layer, line, count, drawn)
        else:
            self._entries[key] = replace(old, count=old.count + count)

    def entries(self) -> tuple[Skipped, ...]:
        """Return all, in the order in which they were met."""
        return tuple(self._entries.values())
