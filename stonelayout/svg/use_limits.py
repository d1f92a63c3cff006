"""How much all ``use`` of a drawing unfold to, before any of it is unfolded."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Final

from .document import Node, children

#: Elements that hold others, drawn where they stand.
CONTAINERS: Final = frozenset(("g", "a", "svg"))


def unfolded(root: Node, ids: Mapping[str, Node], left_out: Callable[[Node], bool]) -> int:
    """Return how many elements all ``use`` unfold to; those that use themselves count once.

    ``left_out`` tells which elements are not drawn (``display: none``).
    """
    known: dict[Node, tuple[int, int]] = {}

    def size(node: Node) -> tuple[int, int]:
        """Return (elements drawn in all, of them unfolded by use)."""
        if node not in known:
            known[node] = (1, 0)  # while it is being counted
            whole, used = 1, 0
            if node.tag == "use":
                href = node.attrib.get("href") or node.attrib.get("xlink:href") or ""
                target = ids.get(href.strip().removeprefix("#"))
                if target is not None and not left_out(target):
                    used = size(target)[0]
                    whole += used
            if node.tag in CONTAINERS or node.tag in ("switch", "symbol"):
                for child in children(node):
                    if child.tag != "symbol" and _may_unfold(child) and not left_out(child):
                        parts = size(child)
                        whole, used = whole + parts[0], used + parts[1]
                    elif child.tag != "symbol":
                        whole += 1
            known[node] = whole, used
        return known[node]

    return size(root)[1]


def _may_unfold(node: Node) -> bool:
    return node.tag == "use" or node.tag in CONTAINERS or node.tag == "switch"
