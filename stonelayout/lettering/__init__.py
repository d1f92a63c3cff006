"""Lettering: words become artwork, from outline fonts and from single-line (stroke) faces.

In the order in which words pass through them:

1. ``job_artwork``: the texts of a job, set on its drawing; the door for a job. ``compose.set_text``
   is the door for one text.
2. ``face_loader``: a face by its name (``font_files`` finds font files), and which of two faces
   draws which letters. ``face`` is what any face offers: ``outline_face`` (a font file, shaped by
   HarfBuzz in runs of one direction, ``bidi_runs``) or ``single_line_face`` (Hershey letters and
   our own, smoothed by ``smooth_strokes``).
3. ``compose``: letters at their places on a ``baseline`` (straight, arc, path); ``fit``: tracking
   and height that the stones and a width ask for.
4. ``letters_svg``: the letters as an SVG, which the reader of drawings reads as any other;
   ``name_mark``: the name of a transfer as a mark on its templates.

Beside these: ``glyph_drawing`` (path commands of a letter, affine maps), ``legibility`` (from which
height words read well in given stones), ``font_matching`` (the font for a text inside a drawing).

To add a face: single-line letters are rows of ``data/strokes.toml`` and of
``single_line_face.FACES``; any other kind is a class that offers what ``face.Face`` asks, opened
in ``face_loader.open_face``.
"""
