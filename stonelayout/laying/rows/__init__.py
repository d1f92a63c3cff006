"""Patterns of rows, ``edge`` and ``spine``: stones at equal distances along curves.

All shapes of a rule are laid together, in these steps (``row_junctions.lay_rows_together`` calls
them in turn):

1. *Frame.* The drawing is carried into a frame of its own (``geometry.frames``), so that artwork
   moved, turned by quarters or mirrored gets the same rows.
2. *Curves.* ``edge`` takes curves along the outline or drawn lines (``edge.edge_tracks``),
   ``spine`` the centre line (``spine.spine_tracks``, ``geometry.centreline``). Each starts at a
   place, and runs in a direction, that its form decides (``tracks.row_curves``). Parts too narrow
   for two rows get one on their centre line (package ``narrow``).
3. *Sizes.* With several sizes each stretch of a curve gets the largest that has room (package
   ``sizes``).
4. *Contacts.* Where curves cross, touch or run on the same line is found once
   (``geometry.intersections``). Rows share a stone at a crossing; a shared stretch is laid by the
   first of them.
5. *Rows.* Corners, ends and shared places are pinned, and the spans between them are split into
   equal chords (package ``tracks``). All rings of a filled shape share one pitch.
6. *Tips.* Tips in which both sides of a row collide get stones in single file
   (``narrow.narrow_tips``).
7. *Removal.* Of stones too near to each other the fewest are removed, exactly along each component
   of the conflict graph (``geometry.independent_set``); outer rows stay before inner ones. The
   stretches beside each gap are spaced anew (``gap_closing.respace``), and both are repeated.
8. *Gaps.* What room a gap still has after that is filled (``gap_closing.fill_gaps``).
9. *Symmetry.* One side of a symmetric drawing is laid on both unless that costs stones
   (``row_symmetry``; its tolerances stand in ``geometry.symmetry``).

``row_state`` holds a row while it is worked on. ``middle_row`` lays one row for the filling
patterns, in a part just as wide as a stone.

Tried and left out: letting corners of 90 degrees give way, which halves the spread of distances on
letters and takes the stones off the corners of stroke ends; one pitch for narrow parts and rings
alike, which breaks the places where they fork.
"""
