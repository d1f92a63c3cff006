"""Knots: where rows meet askew, or end, loose stones move aside for one more.

Rows stay as they are: only stones that stand in none may go where there is room, those in a row
give way along it, by a little across it, and those on the outline not at all.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry.base import BaseGeometry

from stonelayout.geometry.mirrors import Mirrors
from stonelayout.geometry.points import Points
from stonelayout.geometry.regions import sides_of
from stonelayout.laying.solvers.mix import Mix
from stonelayout.laying.solvers.relaxation import Trial, relax, share_out
from stonelayout.laying.solvers.room_distance import Wall
from stonelayout.laying.solvers.voids import circumcentres, widest_first
from stonelayout.laying.solvers.window_search import (
    ON_MIRROR,
    RIM,
    Change,
    Failures,
    Window,
    cut_window,
    search,
)

from .occupancy import Occupancy

#: Rows are chains of stones no further apart than this, in pitches, that turn by at most so many
#: degrees at a stone, and by so many more or less than at the stone before.
STEP, TURN, BEND = 1.3, 24.0, 10.0
#: So many stones make a row; fewer are enough along the outline, to within so many degrees.
LONG, SHORT, ALONG = 7, 5, 18.0
#: Stones this near to the outline stand on it, in pitches.
EDGE = 0.03
#: Loose stones count within NEAR pitches of a place.
NEAR = 1.7
#: Loose stones within WINDOW pitches of a place may move. A stone of a row may move across it by
#: GIVE.
WINDOW, GIVE = 3.5, 0.12
#: Later rounds try places within so many pitches of those of the first.
AFRESH = 2.0
#: Steps of a relaxation, and rounds in all.
STEPS, ROUNDS = 150, 8
#: Stones within SHARED pitches of a new one share out the room that is left: a push that reaches
#: so many pitches and fades, in so many steps each.
SHARED, REACH, PUSHES = 3.0, 1.3, 20


@dataclass(frozen=True)
class _Turn:
    """Which places are tried, in pitches, and what moves for them.

    ``least``: their clearance; ``loose``: stones in no row near them; ``rows``: within how many
    pitches all stones but those on the outline may move too, those in a row by ``slide`` along it;
    ``joins``: only for a stone that then stands in a row.
    """

    least: float
    loose: int
    rows: float
    slide: float
    joins: bool = False


#: A place has its turns in this order: loose stones alone move; those of the rows beside it as
#: well; a row that ends there, or has a gap, closes up along all its length; all that may move do.
TURNS = (
    _Turn(0.8, 2, 0.0, 0.4),
    _Turn(0.88, 0, 1.8, 0.4),
    _Turn(0.75, 1, 7.0, 1.0, joins=True),
    _Turn(0.88, 2, 7.0, 1.0),
)


def loosen(standing: Occupancy) -> int:
    """Add stones where rows leave a place that is nearly wide enough; returns how many."""
    pitch, mirrors = standing.pitch, standing.mirrors
    centres = mirrors.between(standing.centres, 1e-6 * pitch)
    if len(centres) < 2:
        return 0
    everything = mirrors.everywhere(centres)
    away, along = _nearest_side(standing.room, everything)
    ways = row_directions(everything, along, pitch)[: len(centres)]
    knots = _Knots(centres, centres, ways, away[: len(centres)] < EDGE * pitch, mirrors, pitch)
    places = _places(standing, knots)
    if not len(places):
        return 0
    reach = (AFRESH + WINDOW + RIM) * pitch
    around = shapely.union_all(shapely.buffer(shapely.points(places), reach, quad_segs=4))
    wall = Wall(shapely.intersection(standing.unblocked(), around), pitch)
    first, failures = shapely.multipoints(places), Failures(pitch, around=0.0)
    shapely.prepare(first)
    for _ in range(ROUNDS):
        found = _places(standing, knots)
        found = found[shapely.dwithin(first, shapely.points(found), AFRESH * pitch)]
        if not _round(knots, found, wall, failures):
            break
    count = len(knots.centres) - len(centres)
    if count:
        _share_out(knots, len(centres), wall)
        before = len(standing.centres)
        standing.remove_after(0)
        standing.put(mirrors.everywhere(knots.centres))
        count = len(standing.centres) - before
    return count


@dataclass(eq=False)
class _Knots:
    """Stones between the mirrors.

    ``homes`` (n, 2): where they stood at first; ``ways`` (n, 2): the direction of the row of each,
    0 for none; ``edge`` (n,): which stand on the outline.
    """

    centres: Points
    homes: Points
    ways: Points
    edge: npt.NDArray[np.bool_]
    mirrors: Mirrors
    pitch: float

    @property
    def loose(self) -> npt.NDArray[np.bool_]:
        return ~(self.ways.any(axis=1) | self.edge)

    def clearance(self, places: Points, blocks: Points) -> tuple[Points, npt.NDArray[np.intp]]:
        """Return the clearance of places in mm, and how many loose stones are NEAR, (k,) each."""
        from scipy.spatial import KDTree

        blocks = np.concatenate((self.mirrors.everywhere(self.centres), blocks))
        away = np.asarray(KDTree(blocks).query(places)[0], dtype=np.float64)
        loose = self.mirrors.everywhere(self.centres[self.loose])
        if not len(loose) or not len(places):
            return away, np.zeros(len(places), dtype=np.intp)
        near = KDTree(loose).query_ball_point(places, NEAR * self.pitch, return_length=True)
        return away, np.asarray(near, dtype=np.intp)

    def suit(self, mine: npt.NDArray[np.intp], found: Points, turn: _Turn) -> bool:
        """Tell whether stones ``mine`` may stand where found, the last one beside them new.

        Those of rows must be in line still, and the new one in a row if rows closed up for it.
        """
        ways, moved = self.ways[mine], (found[:-1] - self.homes[mine]) / self.pitch
        along = np.abs((moved * ways).sum(axis=1))
        across = np.abs(moved[:, 0] * ways[:, 1] - moved[:, 1] * ways[:, 0])
        if (along > turn.slide).any() or (across > GIVE).any():
            return False
        if not turn.joins:
            return True
        return bool(row_directions(found, np.zeros_like(found), self.pitch)[-1].any())

    @property
    def mix(self) -> Mix:
        return Mix.of(self.centres)

    def take(self, mix: Mix) -> None:
        """Take the stones as they stand now; new ones, the last, are loose."""
        places = mix.centres[len(self.homes) :]
        self.centres = mix.centres
        self.homes = np.concatenate((self.homes, places))
        self.ways = np.concatenate((self.ways, np.zeros_like(places)))
        self.edge = np.concatenate((self.edge, np.zeros(len(places), dtype=np.bool_)))


def row_directions(centres: Points, along: Points, pitch: float) -> Points:
    """Return the unit direction of the row that each stone stands in, (n, 2), 0 for none.

    ``along`` (n, 2): the unit direction of the outline nearest to each. A row is a chain of
    stones that runs straight on or bends evenly; LONG and SHORT tell how many it needs. A stone
    with two neighbours at most stands in single file, which is a row too.
    """
    from scipy.spatial import KDTree

    pairs = KDTree(centres).query_pairs(STEP * pitch, output_type="ndarray")
    ways: Points = along.copy()
    if not len(pairs):
        return ways
    half = len(pairs)
    pairs = np.concatenate((pairs, pairs[:, ::-1]))
    back = np.arange(2 * half) - half
    back[back < 0] += 2 * half
    step = centres[pairs[:, 1]] - centres[pairs[:, 0]]
    step /= np.hypot(step[:, 0], step[:, 1])[:, None]
    follows, turn = _followers(pairs, step, back, len(centres))
    ahead = _count_ahead(follows, turn)
    length = ahead + ahead[back]
    ends = np.abs(np.einsum("kij,kj->ki", along[pairs], step)).max(axis=1)
    good = length >= LONG
    good |= (length >= SHORT) & (ends > np.cos(np.radians(ALONG)))
    ways[np.bincount(pairs[:, 0], minlength=len(centres)) > 2] = 0.0
    order = np.flatnonzero(good)[np.argsort(length[good], kind="stable")]
    # of the chains through a stone the longest, written last, tells its direction
    ways[pairs[order].ravel()] = np.repeat(step[order], 2, axis=0)
    return ways


def _followers(
    pairs: npt.NDArray[np.intp], step: Points, back: npt.NDArray[np.intp], count: int
) -> tuple[npt.NDArray[np.intp], Points]:
    """Return which step goes straightest on from each, -1 for none, and by how much it turns.

    Steps are directed pairs of stones; each must be the straightest from the other's end as well.
    """
    order = np.argsort(pairs[:, 0], kind="stable")
    degree = np.bincount(pairs[:, 0], minlength=count)
    first = np.cumsum(degree) - degree
    place = np.arange(len(pairs)) - np.repeat(first, degree)
    table = np.full((count, int(degree.max())), -1)
    table[pairs[order, 0], place] = order
    bearing = np.arctan2(step[:, 1], step[:, 0])
    candidates = table[pairs[:, 1]]
    turns = bearing[candidates] - bearing[:, None]
    turns = np.remainder(turns + np.pi, 2 * np.pi) - np.pi
    size = np.where(candidates < 0, np.inf, np.abs(turns))
    best = size.argmin(axis=1)
    row = np.arange(len(pairs))
    follows, turn, least = candidates[row, best], turns[row, best], size[row, best]
    # of two that turn alike to either side neither goes straight on
    size[row, best] = np.inf
    clear = (least <= np.radians(TURN)) & (size.min(axis=1) > least + 1e-6)
    follows = np.where(clear, follows, -1)
    onward = np.flatnonzero(follows >= 0)
    mutual = follows[back[follows[onward]]] == back[onward]
    follows[onward[~mutual]] = -1
    return follows, turn


def _count_ahead(follows: npt.NDArray[np.intp], turn: Points) -> npt.NDArray[np.intp]:
    """Return how many stones a chain has from the end of each step on, up to LONG."""
    at = np.arange(len(follows))
    ahead = np.ones(len(follows), dtype=np.intp)
    alive = np.ones(len(follows), dtype=np.bool_)
    last = np.full(len(follows), np.nan)
    for _ in range(LONG):
        alive &= follows[at] >= 0
        alive &= ~(np.abs(turn[at] - last) >= np.radians(BEND))
        ahead[alive] += 1
        last = np.where(alive, turn[at], last)
        at = np.where(alive, follows[at], at)
    return ahead


def _nearest_side(room: BaseGeometry, points: Points) -> tuple[Points, Points]:
    """Return the distance (n,) in mm to a room's outline, and its direction there, (n, 2)."""
    sides = sides_of(room)
    lines = np.asarray(shapely.linestrings(sides))
    nearest = shapely.STRtree(list(lines)).nearest(shapely.points(points))
    along = sides[nearest, 1] - sides[nearest, 0]
    along /= np.hypot(along[:, 0], along[:, 1])[:, None]
    return shapely.distance(lines[nearest], shapely.points(points)), along


def _places(standing: Occupancy, knots: _Knots) -> Points:
    """Return places (k, 2) between the mirrors that may have room for one more, widest first."""
    mirrors, pitch = knots.mirrors, knots.pitch
    found = circumcentres(np.concatenate((mirrors.everywhere(knots.centres), standing.obstacles)))
    found = found[standing.inside(found)]
    clearance, loose = knots.clearance(found, standing.obstacles)
    wide = np.zeros(len(found), dtype=np.bool_)
    for turn in TURNS:
        wide |= (clearance >= turn.least * pitch) & (loose >= turn.loose)
    found, clearance = found[wide], clearance[wide]
    found, between = mirrors.onto(found, ON_MIRROR * pitch)
    found, clearance = found[between], clearance[between]
    return found[widest_first(found, clearance)]


def _round(knots: _Knots, places: Points, wall: Wall, failures: Failures) -> bool:
    """Try the places once; tell whether another round may bring more."""
    pitch = knots.pitch
    clearance, loose = knots.clearance(places, np.empty((0, 2)))
    changes = []
    for place, room, near in zip(places, clearance, loose, strict=True):
        change = Change(place)
        for k in range(failures.turn(knots.mix, change), len(TURNS)):
            if room >= TURNS[k].least * pitch and near >= TURNS[k].loose:
                changes.append(replace(change, turn=k))
                break

    def cut(mix: Mix, change: Change) -> Window:
        knots.take(mix)
        rows = TURNS[change.turn].rows

        def may_move(mine: npt.NDArray[np.intp], away: Points) -> npt.NDArray[np.bool_]:
            free: npt.NDArray[np.bool_] = knots.loose[mine] & (away < WINDOW * pitch)
            return free | (~knots.edge[mine] & (away < rows * pitch))

        radius = max(WINDOW, rows) * pitch
        return cut_window(mix, change, radius, RIM * pitch, knots.mirrors, may_move)

    mix, _ = search(
        knots.mix,
        changes,
        cut,
        lambda trials: relax(trials, wall, STEPS, hasty=True, only_free=True),
        suits=lambda window, found: knots.suit(window.mine, found, TURNS[window.change.turn]),
        failures=failures,
    )
    knots.take(mix)
    return bool(changes)


def _share_out(knots: _Knots, before: int, wall: Wall) -> None:
    """Let loose stones around the new ones, those from ``before`` on, share what room is left."""
    from scipy.spatial import KDTree

    pitch = knots.pitch
    new = KDTree(knots.mirrors.everywhere(knots.centres[before:]))
    away = np.asarray(new.query(knots.centres)[0]) / pitch
    mine = np.flatnonzero(away < SHARED + 2 * RIM)
    free = knots.loose[mine] & (away[mine] < SHARED)
    trial = Trial(knots.centres[mine], free, knots.mirrors)
    shared = share_out([trial], wall, PUSHES, [REACH], only_free=True)
    ((found, rest),) = relax(shared, wall, STEPS, only_free=True)
    if rest == 0:
        knots.centres[mine] = found
