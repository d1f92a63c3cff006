"""The patterns ``lattice``, ``even`` and ``graded``: discs packed into a room."""
