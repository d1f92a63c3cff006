"""Text in XML and HTML: ``xml.sax.saxutils`` does it too, but imports an HTTP client."""

from __future__ import annotations

import html

_IN_ATTRIBUTE = str.maketrans({"\n": "&#10;", "\r": "&#13;", "\t": "&#9;"})


def escape(text: str) -> str:
    """Return text as it stands between tags."""
    return html.escape(text, quote=False)


def quoteattr(text: str) -> str:
    """Return text as an attribute's value, with its quotes."""
    return f'"{html.escape(text).translate(_IN_ATTRIBUTE)}"'
