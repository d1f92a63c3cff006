"""Lettering: words become artwork, from outline fonts and from single-line (stroke) faces."""
