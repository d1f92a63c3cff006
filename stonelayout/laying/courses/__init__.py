"""The pattern ``courses``: rows parallel to the outline that fit the local width.

``courses.lay_courses`` fills each part of a region in its own frame (``common.part_fill``), in
this order, which decides how a fill looks:

1. *Room* (``courses.room_for_rows``): the outline, smoothed between its corners where it is noisy
   as traced ones are (``common.outline_smoothing``), is inset by half a stone and the margin, with
   sharp notches. The room of a symmetric part is exactly symmetric; letters of fonts count as
   symmetric to 0.06 pitch unless they only lean (``geometry.symmetry``).
2. *Regular shapes* (``concentric_rows.regular_places``): rectangles, equilateral triangles and
   regular hexagons get a regular grid from side to side.
3. *Compact shapes* (``concentric_rows.is_compact``): discs, hearts and stars get rings, each inset
   from the one outside it.
4. *Segments* (``outline_segments``): any other outline is cut at its corners
   (``outline_corners``). Half the local width
   is measured by shrinking balls (Ma, Bae and Choi, "3D medial axis point approximation using
   nearest neighbors and the normal field", 2012), carried through junctions of strokes, and gives
   the number of rows across and the gap between them. In bends the polygons on both sides of a
   stroke agree on its width to ``FACETS`` of a pitch only.
5. *Junctions* (``stroke_junctions``): the side of a stroke goes straight on across the junction
   where a narrower one butts against it, so that a stem keeps its rows and their spacing there.
6. *Rows* (``stroke_rows.lay_stroke_rows``; each laid by ``row_fill.lay_line`` in equal chords on
   the stretches that are still free): stones on corners; the centre lines of thin strokes
   (``thin_strokes``) that run through a stem to its far edge or to the stroke that faces them;
   the rows along the outline; thin strokes that butt; then inner rows, from the outside inwards. An
   inner row copies the places of the outline's row unless that leaves wider gaps
   (``excess_gaps``), and runs round a notch as far as the mitre.
7. *Gaps* (``gap_fill``): every place left that is a pitch away from all stones gets one.
8. *Repair* (``row_repair``): where rows meet askew or end, loose stones move aside for one more.
   Those in a row give way across it by ``GIVE`` at most, or the whole would turn into hexagonal
   patches; along it they close up for a stone that then stands in the row.
9. At last symmetry is given up for what fits once and not in pairs.

What looks the same turned by a third, fifth or sixth is filled alike in all its arms, unless that
costs more stones than ``courses.TURNED_SHARE`` allows. ``occupancy`` holds the stones laid so far
with their mirror images, ``point_grid`` finds those near a place, and ``edge_row`` lays the single
row along an outline behind which other patterns fill.

Tried and left out:

- Raising the count by moving loose stones everywhere: better in every figure, but the rows
  dissolve.
- Four staggered rows where three stand 1.4 pitches apart: ragged ends and broken junctions.
- A third row in bends.
- Junctions crossed on both sides of a thin cross: the two edges fall out of step.
- Symmetry under right angles alone: a cross loses its grid.
"""
