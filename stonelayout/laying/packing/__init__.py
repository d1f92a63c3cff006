"""The patterns ``lattice``, ``even`` and ``graded``: discs packed into a room.

Each part of a region is filled in a frame of its own (`common.part_fill`), so that like parts get
like fills, each worked out once; every fill is checked exactly at the end. The room of a size is
where its centres may lie.

- `lattice`: the best of all angles and offsets of a regular grid.
- `even`: grids that hold too many discs are pressed into the room between its mirrors (one or two
  axes, turns of three to six) and relaxed; discs near the outline are drawn onto it and pinned
  there, at corners only as far as they keep their distance (`disc_packer`). Then discs are inserted
  into voids (`disc_insertion`), what room is left is shared out by pushes that fade, and the widest
  voids are closed in windows of their own (`void_smoothing`). Few discs are searched for one more
  (`perturbation_search`). Above 2,500 discs only a band along the outline moves. A fill with more
  symmetry than two axes must be tidier too, or cost no more than 2 % of the stones. The quality
  ``best`` stops early only at the proved bound: no other rule was found that loses nothing.
- `graded`: too many discs of the largest size are pressed in; strained ones at the edge give way by
  one size, sooner beside smaller ones, so that these keep company. Others are inserted at the edge,
  or grow where their neighbours can move, and small ones inside or alone trade places with large
  ones at the edge (`mix_search`). What room is left takes the largest size that fits
  (`gap_pockets`). Of the mixes the one is taken that is worth most (`mix_value`): cover, less a
  price for smaller stones inside or alone, and for stones that nearly stand at the edge.

Tried for ``graded`` and left out: shrinking discs inside as readily as at the edge (covers more
and looks scattered); smoothed outlines (2 % of the cover for no crisper edge); clearing lone small
discs inside in windows (few can go); one price for all small discs inside (a ring gets bald).
"""
