"""Smooth curves through the points of a coarse stroke, with its corners and straights kept."""

from __future__ import annotations

import math

import numpy as np

from stonelayout.geometry.points import Points

from .glyph_drawing import Command

#: A turn of more than this at one point is a corner. Hershey's round letters turn by up to 45
#: degrees at a point, their corners by 60 and more (measured on the Simplex faces).
CORNER_DEGREES = 55.0
#: A side this many times as long as the median of its curve is a straight stroke.
STRAIGHT_TIMES = 2.2
#: Shortest straight, as a share of the capital's height.
STRAIGHT_SHARE = 0.2


def smooth_commands(points: Points, closed: bool, capital: float) -> list[Command]:
    """Return path commands through ``points`` (n, 2), n >= 2; closed: first point not repeated.

    Between corners the curve is a cubic Hermite spline whose tangent at a point is that of the
    circle through it and its neighbours; straight sides stay straight, and a curve that runs into
    one is tangent to it.
    """
    n = len(points)
    sides = np.diff(np.concatenate((points, points[:1])) if closed else points, axis=0)
    length = np.hypot(sides[:, 0], sides[:, 1])
    heading = np.arctan2(sides[:, 1], sides[:, 0])
    straight = _straight(length, heading, closed, capital)
    commands: list[Command] = [("M", (float(points[0, 0]), float(points[0, 1])))]
    for k in range(len(sides)):
        end = points[(k + 1) % n]
        if straight[k]:
            commands.append(("L", (float(end[0]), float(end[1]))))
            continue
        start = points[k]
        leave = _tangent(k - 1, k, length, heading, straight, closed)
        arrive = _tangent(k, k + 1, length, heading, straight, closed)
        first = heading[k] if leave is None else leave
        last = heading[k] if arrive is None else arrive
        if leave is None and arrive is not None:
            first = 2 * heading[k] - last  # one free end: a circular arc
        if arrive is None and leave is not None:
            last = 2 * heading[k] - first
        bend = math.cos(min(abs(_turn(first, last)) / 4, 1.0)) ** 2
        handle = length[k] / (3 * bend)
        a = start + handle * np.array([math.cos(first), math.sin(first)])
        b = end - handle * np.array([math.cos(last), math.sin(last)])
        commands.append(("C", tuple(float(v) for v in (*a, *b, *end))))
    if closed:
        commands.append(("Z", ()))
    return commands


def _turn(first: float, second: float) -> float:
    return (second - first + math.pi) % (2 * math.pi) - math.pi


def _straight(length: Points, heading: Points, closed: bool, capital: float) -> list[bool]:
    """Tell which sides are straight: long ones, and those between two corners or ends."""
    count = len(length)
    median = float(np.median(length))
    found = []
    for k in range(count):
        bends = [
            _bend(k - 1, k, length, heading, closed),
            _bend(k, k + 1, length, heading, closed),
        ]
        long = length[k] > STRAIGHT_SHARE * capital and (
            length[k] > STRAIGHT_TIMES * median or count < 3
        )
        found.append(bool(long or all(bend is None for bend in bends)))
    return found


def _bend(j: int, k: int, length: Points, heading: Points, closed: bool) -> float | None:
    """Return the turn between sides j and k = j + 1 in radians; None at a corner or an end."""
    count = len(length)
    if not closed and (j < 0 or k >= count):
        return None
    turn = _turn(heading[j % count], heading[k % count])
    return None if abs(turn) > math.radians(CORNER_DEGREES) else turn


def _tangent(
    j: int, k: int, length: Points, heading: Points, straight: list[bool], closed: bool
) -> float | None:
    """Return the direction at the point between sides j and k; None at a corner or an end."""
    turn = _bend(j, k, length, heading, closed)
    if turn is None:
        return None
    j, k = j % len(length), k % len(length)
    if straight[j] != straight[k]:
        return float(heading[j] if straight[j] else heading[k])
    # Circle through three points: the tangent turns from chord j by its share of the arc.
    return float(heading[j] + turn * length[j] / (length[j] + length[k]))
