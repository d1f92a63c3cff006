"""CSS selectors matched with cssselect2, every step counted against a limit."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cached_property
from itertools import chain
from typing import Any, Final, TypeVar

import cssselect2

from stonelayout.errors import ArtworkError

from .document import Node

#: Steps from element to element, and selectors tried, that the styles of one drawing may take.
MOST_STEPS: Final = 4_000_000
#: Siblings that are looked at in one step, and those that are taken together.
_SIBLINGS_A_STEP: Final = 2
_MOST_TOGETHER: Final = 128
#: What a rule that applies costs, in steps.
_APPLIED: Final = 8
_Item = TypeVar("_Item")


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
        super().__init__(element, parent, **rest)
        self.etree_siblings = Siblings(self)

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
        """The elements before this one, the nearest first."""
        return _counted(self.work, self.parent.wrapped if self.parent else [], self.index, -1)

    def iter_next_siblings(self) -> Iterator[Wrapped]:
        """Return the elements after this one."""
        return _counted(self.work, self.parent.wrapped if self.parent else [], self.index + 1, 1)

    @cached_property
    def wrapped(self) -> list[Wrapped]:
        """The elements in this one."""
        return list(super().iter_children())

    def iter_children(self) -> Iterator[Wrapped]:
        """Return the elements in this one."""
        return _counted(self.work, self.wrapped, 0, 1)

    @cached_property
    def alike(self) -> tuple[dict[str, list[Node]], dict[Node, int]]:
        """The elements in this one by their tag, and the place of each in its list."""
        groups: dict[str, list[Node]] = {}
        places: dict[Node, int] = {}
        for child in self.etree_children:
            group = groups.setdefault(child.tag, [])
            places[child] = len(group)
            group.append(child)
        return groups, places


class Siblings:
    """An element's siblings as cssselect2 asks for them: a part is those of the element's type.

    What it compiles (``:nth-of-type`` ...) passes over all others in such a part.
    """

    def __init__(self, element: Wrapped) -> None:
        self._element = element

    def __len__(self) -> int:
        parent = self._element.parent
        return 1 if parent is None else len(parent.etree_children)

    def __iter__(self) -> Iterator[Node]:
        element = self._element
        return _counted(element.work, element.parent.etree_children if element.parent else [], 0, 1)

    def __getitem__(self, part: slice) -> Iterator[Node]:
        node, parent = self._element.etree_element, self._element.parent
        if parent is None:
            return iter(())
        groups, places = parent.alike
        if part.start is None:
            return _counted(self._element.work, groups[node.tag], places[node], -1)
        return _counted(self._element.work, groups[node.tag], places[node] + 1, 1)


def _counted(work: Work, items: list[_Item], at: int, way: int) -> Iterator[_Item]:
    """Return the items from a place on, or (``way`` -1) those before it, nearest first; counted."""
    return chain.from_iterable(_chunks(work, items, at, way))


def _chunks(work: Work, items: list[_Item], at: int, way: int) -> Iterator[list[_Item]]:
    size = 2  # for those who look at the first only
    while at > 0 if way < 0 else at < len(items):
        size = min(2 * size, _MOST_TOGETHER)
        to = max(0, at + way * size)
        chunk = items[to:at][::-1] if way < 0 else items[at:to]
        work.add(1 + len(chunk) // _SIBLINGS_A_STEP)
        yield chunk
        at = to


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
