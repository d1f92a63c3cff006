"""Rows of several sizes: which size goes where along a row.

The room at a place is the distance to the row opposite (``size_by_width``, for outlines) or the
width of the stroke (``stroke_widths``, for drawn lines). Sizes are chosen in runs
(``tracks.size_runs``), mirror images and rows that face each other alike. A row changes to another
curve where its size changes, as each size has its own distance from the outline:
``multi_size_path`` joins the stretches to one path. ``junction_sizes`` settles the size of a stone
that several rows share.

Tried and left out: sizes in a list from the outermost row inwards; two rules with ``margin`` do
that.
"""
