"""Reading SVG drawings as shapes in millimetres. The door is ``read_svg`` (module ``read``).

In the order in which a drawing passes through them:

1. ``document``: bytes (SVG, SVGZ, any encoding) to a tree of elements that know their line.
2. ``page_size``: the page in mm and the root's viewport; ``viewbox``: view boxes, nested ``svg``.
3. ``cascade``: style sheets, style attributes and inheritance, with ``selectors`` (matching, its
   work counted), ``style_properties`` (which are read, their initial and valid values) and
   ``font_properties``.
4. ``traversal``: the walk in paint order. ``ENTERING`` lists what is done to enter an element, in
   order: style, layer, transform (``transforms``), effects, clip (``clip_paths``,
   ``css_clip_shapes``), viewport. ``use_limits`` counts what ``use`` unfolds to beforehand.
   Geometry comes from ``basic_shapes`` (``pathdata``, ``arcs``) and, for text, from
   ``text_characters`` and ``text_outlines``; ``boxes`` finds bounding boxes.
5. ``element_regions``: one element flattened, filled (``fill_rules``, ``ring_nesting``), stroked
   (``strokes``) and clipped, in mm; ``paint`` and ``colours`` say in which colour.
6. ``knockout``: shapes of one colour cut what lies under them, where asked.

``context`` holds what the steps share: the drawing, the graphics state of an element, and ``Walk``,
the two calls by which a feature asks for the shapes of other elements. Features import ``context``,
only ``read`` imports the walk. ``unsupported`` has the words for what is not read: nothing is left
out without an entry there, and ``UNSUPPORTED.md`` tells users.

To add a feature: a kind of shape is a reader in ``basic_shapes.READERS``; what changes how elements
are drawn is a step in ``traversal.ENTERING``, in a module of its own; a style property is a row in
``style_properties``. Each gets a drawing ``tests/data/svg/AREA/QUIRK.svg`` with its
areas and boxes in ``tests/svg/test_svg_quirks.py``.

Tried and left out: svgpathtools as the engine. Measured, it costs 0.4 s to import and 9 s on 5 MB
of arcs, is wrong for turned arcs under unequal scale, and drops a round dot and the valid start of
a broken path, which SVG 2 keeps; it judges path data in the tests. Fonts are passed in
(``read_svg(..., fonts=)``), so that ``svg`` never imports ``lettering``.
"""

from __future__ import annotations

from .read import DEFAULT_MM as DEFAULT_MM
from .read import read_svg as read_svg

__all__ = ["DEFAULT_MM", "read_svg"]
