"""Plane geometry in mm: curves, polylines, regions, centre lines, neighbours, measures.

Curves: ``flattening`` (Béziers to chords), ``polylines`` (places by arc length, corners),
``equal_chords`` (splits into equal straight-line steps), ``intersections`` (crossings, touching
places, shared stretches), ``bisection``. Areas: ``polygons``, ``regions`` (outlines sampled, local
width), ``centreline`` and ``centreline_paths``. Copies and images: ``frames``, ``symmetry`` (with
all its tolerances), ``mirrors``. Points: ``neighbours`` (exact distances, clearance),
``independent_set`` (which to keep of those too near), ``bounds`` (how many could fit),
``fill_measures``.
"""
