"""Splitting a line into runs of one direction and one script, in the order they are seen.

The implicit part of the Unicode bidirectional algorithm (UAX #9, rules P2-P3, W1-W7, N1-N2, I1-I2,
L2) without explicit embeddings, which names and slogans do not use; scripts by UAX #24, common
characters taking the script before them.
"""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass


@dataclass(frozen=True)
class Run:
    """A stretch of text of one direction and script (an ISO 15924 tag such as ``Latn``)."""

    text: str
    right_to_left: bool
    script: str


def runs(text: str) -> list[Run]:
    """Return the runs of one line, left to right as they are seen."""
    found: list[tuple[int, Run]] = []
    levels, scripts = _levels(text), _scripts(text)
    start = 0
    for end in range(1, len(text) + 1):
        same = end < len(text) and (levels[end], scripts[end]) == (levels[start], scripts[start])
        if not same:
            run = Run(text[start:end], bool(levels[start] % 2), scripts[start])
            found.append((levels[start], run))
            start = end
    return _reordered(found)


def _reordered(found: list[tuple[int, Run]]) -> list[Run]:
    """Rule L2: from the highest level to the lowest odd one, reverse each stretch."""
    order = list(found)
    for level in range(max((k for k, _ in found), default=0), 0, -1):
        start = 0
        while start < len(order):
            end = start
            while end < len(order) and order[end][0] >= level:
                end += 1
            order[start:end] = order[start:end][::-1]
            start = max(end, start + 1)
    return [run for _, run in order]


def _scripts(text: str) -> list[str]:
    from fontTools.unicodedata import script

    tags = [script(char) for char in text]
    shared = {"Zyyy", "Zinh", "Zzzz"}
    last = next((tag for tag in tags if tag not in shared), "Latn")
    for k, tag in enumerate(tags):
        last = last if tag in shared else tag
        tags[k] = last
    return tags


def _levels(text: str) -> list[int]:
    kinds = [unicodedata.bidirectional(char) or "L" for char in text]
    base = next((int(kind in ("R", "AL")) for kind in kinds if kind in ("L", "R", "AL")), 0)
    side = "R" if base else "L"
    _weak(kinds, side)
    _neutral(kinds, side)
    high = {"L": 2, "R": 1, "EN": 2, "AN": 2} if base else {"L": 0, "R": 1, "EN": 2, "AN": 2}
    return [high[kind] for kind in kinds]


def _weak(kinds: list[str], side: str) -> None:
    """Rules W1 to W7, in place."""
    _marks_and_numbers(kinds, side)
    kinds[:] = ["R" if kind == "AL" else kind for kind in kinds]  # W3
    for k in range(1, len(kinds) - 1):
        before, after = kinds[k - 1], kinds[k + 1]
        joins = {"ES": ("EN",), "CS": ("EN", "AN")}.get(kinds[k], ())
        if before == after and before in joins:
            kinds[k] = before  # W4
    for ordered in (range(len(kinds)), range(len(kinds) - 1, -1, -1)):
        last = ""
        for k in ordered:
            if kinds[k] == "ET" and last == "EN":
                kinds[k] = "EN"  # W5
            last = kinds[k]
    strong = side
    for k, kind in enumerate(kinds):
        if kind in ("L", "R"):
            strong = kind
        elif kind == "EN" and strong == "L":
            kinds[k] = "L"  # W7; the rest is neutral by W6


def _marks_and_numbers(kinds: list[str], side: str) -> None:
    """Rules W1 and W2."""
    last, strong = side, side
    for k, kind in enumerate(kinds):
        if kind == "NSM":
            kinds[k] = last
        elif kind in ("L", "R", "AL"):
            strong = kind
        elif kind == "EN" and strong == "AL":
            kinds[k] = "AN"
        last = kinds[k]


def _neutral(kinds: list[str], side: str) -> None:
    """Rules N1 and N2, in place."""
    fixed = ("L", "R", "EN", "AN")
    k = 0
    while k < len(kinds):
        end = k
        while end < len(kinds) and kinds[end] not in fixed:
            end += 1
        if end > k:
            before = kinds[k - 1] if k else side
            after = kinds[end] if end < len(kinds) else side
            left, right = ("R" if kind in ("EN", "AN") else kind for kind in (before, after))
            kinds[k:end] = [left if left == right else side] * (end - k)
        k = max(end, k + 1)
