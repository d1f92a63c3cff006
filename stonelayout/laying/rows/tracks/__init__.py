"""The curves that rows run on, the sizes along them, and one row at equal chords.

``row_curves`` makes curves beside outlines and lines, with a start and direction of their own.
``row`` lays one row on a curve: corners are found by turning over a window
(``geometry.polylines.corners``) and pinned, the blunter giving way where a span is too short; then
the numbers of stones of all spans are chosen together. ``row_span`` is one span between two pinned
stones, and its splits into equal chords (``geometry.equal_chords``). ``size_runs`` chooses sizes
along a curve, in few and long runs, by dynamic programming. ``facing_rows`` tells where a row has
another opposite it, or itself, within a pitch.
"""
