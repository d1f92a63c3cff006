"""Which stones to keep when some are too near to each other: the heaviest independent set."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from .points import Points

#: States kept at each step of a component. Rows that cross or run side by side need tens to a few
#: hundred; only a denser tangle is cut down to the heaviest ones, and is then not proved best.
MOST_STATES = 20_000


def most_kept(
    weights: Points, pairs: npt.NDArray[np.intp], most_states: int = MOST_STATES
) -> tuple[npt.NDArray[np.bool_], bool]:
    """Return which nodes (n,) to keep so that no pair (m, 2) is kept whole and the weight is most.

    Exact by dynamic programming along each component of the conflict graph: its nodes are taken
    in reverse Cuthill-McKee order (Cuthill and McKee 1969), and a state is the set of kept nodes
    that still have conflicts to come; rows make long thin graphs, so states stay few. Also
    returns whether the answer is proved to be the best (no states were cut).
    """
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components, reverse_cuthill_mckee

    size = len(weights)
    keep = np.ones(size, dtype=np.bool_)
    if not len(pairs):
        return keep, True
    graph = coo_array((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(size, size)).tocsr()
    graph = (graph + graph.T).tocsr()
    order = np.asarray(reverse_cuthill_mckee(graph, symmetric_mode=True), dtype=np.intp)
    _, label = connected_components(graph, directed=False)
    lonely = np.diff(graph.indptr) == 0
    order = order[~lonely[order]]
    order = order[np.argsort(label[order], kind="stable")]
    proved = True
    start, stop = graph.indptr[:-1].tolist(), graph.indptr[1:].tolist()
    others = graph.indices.tolist()
    for group in np.split(order, np.flatnonzero(np.diff(label[order])) + 1):
        nodes = group.tolist()
        near = {node: others[start[node] : stop[node]] for node in nodes}
        taken, exact = _best_of_component(nodes, near, weights.tolist(), most_states)
        keep[nodes] = False
        keep[taken] = True
        proved &= exact
    return keep, proved


def _best_of_component(
    nodes: list[int], near: dict[int, list[int]], weight: list[float], most: int
) -> tuple[list[int], bool]:
    rank = {node: k for k, node in enumerate(nodes)}
    leaves = {node: max(rank[other] for other in near[node]) for node in nodes}
    #: state -> (weight, nodes kept as a linked list)
    states: dict[frozenset[int], tuple[float, tuple[int, object] | None]] = {
        frozenset(): (0.0, None)
    }
    exact = True
    for k, node in enumerate(nodes):
        earlier = {other for other in near[node] if rank[other] < k}
        done = {other for other in earlier if leaves[other] <= k}
        later = leaves[node] > k
        following: dict[frozenset[int], tuple[float, tuple[int, object] | None]] = {}
        for state, (total, kept) in states.items():
            left = state - done
            if left not in following or following[left][0] < total:
                following[left] = total, kept
            if state.isdisjoint(earlier):
                with_it = left | {node} if later else left
                sum_ = total + weight[node]
                if with_it not in following or following[with_it][0] < sum_:
                    following[with_it] = sum_, (node, kept)
        if len(following) > most:
            exact = False
            best = sorted(following.items(), key=lambda item: -item[1][0])[:most]
            following = dict(best)
        states = following
    _, link = max(states.values(), key=lambda value: value[0])
    taken = []
    while link is not None:
        node, link = link  # type: ignore[assignment]  # a linked list of pairs
        taken.append(node)
    return taken, exact
