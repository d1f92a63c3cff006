"""The rows of one shape alone, as a rule lays them that picks no other."""

from stonelayout.laying.rows.edge import edge_tracks
from stonelayout.laying.rows.row_junctions import lay_rows_together
from stonelayout.laying.rows.spine import spine_tracks


def lay_edge(ask):
    return lay_rows_together([ask], edge_tracks)[0]


def lay_spine(ask):
    return lay_rows_together([ask], spine_tracks)[0]
