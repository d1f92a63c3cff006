"""CSS selectors matched with cssselect2, the work counted: a selector can ask for years of it."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Final

import cssselect2

from stonelayout.errors import ArtworkError

from .document import Node

#: Steps from element to element, and selectors tried, that the styles of one drawing may take.
MOST_STEPS: Final = 4_000_000
#: What a rule that applies costs, in steps.
_APPLIED: Final = 8


class Work:
    """Counts steps. Raises ArtworkError at ``MOST_STEPS``."""

    def __init__(self) -> None:
        self.steps = 0

    def add(self, steps: int) -> None:
        """Count some steps."""
        self.steps += steps
        if self.steps > MOST_STEPS:
            raise ArtworkError("its style sheet takes too long to apply; give the styles plainly")


class Wrapped(cssselect2.ElementWrapper):  # type: ignore[misc]  # cssselect2 ships no types
    """An element as selectors see it; what looks beyond the element is counted."""

    def __init__(self, element: Node, parent: Wrapped | None, **rest: Any) -> None:
        self.work: Work = Work() if parent is None else parent.work
        self._index = 0
        super().__init__(element, parent, **rest)

    @property
    def ancestors(self) -> Iterator[Wrapped]:
        """Yield the elements around this one, the nearest first."""
        above = self.parent
        while above is not None:
            self.work.add(1)
            yield above
            above = above.parent

    @property
    def previous_siblings(self) -> Iterator[Wrapped]:
        """Yield the elements before this one, the nearest first."""
        before = self.previous
        while before is not None:
            self.work.add(1)
            yield before
            before = before.previous

    @property
    def index(self) -> int:
        """Place among the siblings, which whoever asks for it goes through."""
        self.work.add(1 + len(self.etree_siblings) // _APPLIED)
        return self._index

    @index.setter
    def index(self, value: int) -> None:
        self._index = value

    def iter_children(self) -> Iterator[Wrapped]:
        """Yield the elements in this one."""
        for child in super().iter_children():
            self.work.add(1)
            yield child


class Matcher(cssselect2.Matcher):  # type: ignore[misc]  # cssselect2 ships no types
    """Finds the rules of an element; every selector tried is counted."""

    def add_relevant_selectors(
        self, element: Wrapped, selectors: list[Any], relevant_selectors: list[Any]
    ) -> None:
        """Add those of the selectors that match the element."""
        before = len(relevant_selectors)
        super().add_relevant_selectors(element, selectors, relevant_selectors)
        applied = len(relevant_selectors) - before
        element.work.add(len(selectors) + _APPLIED * applied)
