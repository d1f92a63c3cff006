"""Laying stones: rules pick shapes, patterns lay rows and fills, later rules give way.

``lay.lay`` is the flow, and its ``MAKERS`` the table of patterns:

1. ``picking``: the shapes that each rule picks, and what of them it fills (area, stroke or line).
2. ``shared_borders``: filled regions that touch are inset along their border before any is laid, so
   that the order of the rules does not matter there.
3. Rule by rule, a pattern is given an ``Ask`` (``common.ask``) for each shape, with the stones near
   it as obstacles, and answers with a ``Laid``. Fills go one shape at a time; the rows of all
   shapes of a rule are laid together.
4. ``layout_builder``: adds each answer, leaves out stones too near to those of earlier rules, and
   tells in findings what was left out and why. ``layer_distance`` says how near stones of two
   layers may stand.

The patterns: ``rows`` (edge, spine), ``courses``, ``packing`` (lattice, even, graded). They share
``common`` (parts in frames of their own, symmetry, smoothing of outlines) and ``solvers``.
``design_size`` finds the size of the page for the size that is asked for.
"""
