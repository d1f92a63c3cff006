"""Parts of a shape that are too narrow for two rows: one row between them.

``centreline_widths`` finds the stretches of the centre line where both sides are nearer to each
other than a pitch. ``row_branching`` finds where the two rows along the sides start, a pitch from
the last stone between them and from each other: openings are tested at many places at once.
``narrow_rows`` puts both together: the curves of the narrow parts, and what they leave of the
rings. ``narrow_tips`` comes later, when stones are laid: it puts the stones of a sharp tip in
single file.
"""
