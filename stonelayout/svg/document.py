"""From bytes to a tree of elements that know their line: encodings, gzip, XML, and the limits."""

from __future__ import annotations

import re
import zlib
from collections.abc import Iterator
from typing import Final, cast
from xml.etree.ElementTree import Element
from xml.parsers import expat

from stonelayout.errors import ArtworkError

SVG: Final = "http://www.w3.org/2000/svg"
#: Known namespaces and the prefix under which their attributes are kept, whatever the file's own.
PREFIXES: Final = {
    "http://www.w3.org/1999/xlink": "xlink",
    "http://www.inkscape.org/namespaces/inkscape": "inkscape",
    "http://sodipodi.sourceforge.net/DTD/sodipodi-0.dtd": "sodipodi",
    "http://www.w3.org/XML/1998/namespace": "xml",
    SVG: "",
}
_KNOWN: Final = {"svg": SVG, **{prefix: uri for uri, prefix in PREFIXES.items() if prefix}}
#: Limits that real drawings stay well below: bytes (unpacked), nesting, elements.
MOST_BYTES: Final = 64_000_000
MOST_DEPTH: Final = 256
MOST_ELEMENTS: Final = 200_000
#: Element content that is kept as text.
_WITH_TEXT: Final = {"style", "text", "tspan", "title", "a"}
_DECLARATION: Final = re.compile(rb"""<\?xml[^>]*?encoding\s*=\s*["']([A-Za-z0-9._:-]+)["']""")
_MARKS: Final = (
    (b"\x00\x00\xfe\xff", "utf-32"),
    (b"\xff\xfe\x00\x00", "utf-32"),
    (b"\xef\xbb\xbf", "utf-8-sig"),
    (b"\xff\xfe", "utf-16"),
    (b"\xfe\xff", "utf-16"),
    (b"<\x00", "utf-16-le"),
    (b"\x00<", "utf-16-be"),
)


class Node(Element):
    """An element: SVG tags are local names, others ``{namespace}name``; ``line`` from 1."""

    line: int = 0


def children(node: Node) -> list[Node]:
    """Return an element's child elements."""
    return cast("list[Node]", list(node))


def every(node: Node) -> Iterator[Node]:
    """Yield an element and all below it, in document order."""
    return cast("Iterator[Node]", node.iter())


class _RefusalError(Exception):
    """Raised inside the parser's callbacks; becomes an ArtworkError with the line."""


def read_tree(data: bytes, file: str) -> Node:
    """Parse the bytes of an SVG or SVGZ file. Raises ArtworkError with the line."""
    text = _text(_unpacked(data, file), file)
    body = text.lstrip()
    if not body:
        raise ArtworkError("the file is empty", file=file)
    if not body.startswith("<"):
        raise ArtworkError("not an SVG file: it does not start with <", file=file)
    first_line = 1 + text[: len(text) - len(body)].count("\n")
    builder = _TreeBuilder(first_line - 1)
    try:
        builder.parser.Parse(body.encode("utf-8", "replace"), True)
    except expat.ExpatError as error:
        words = expat.ErrorString(error.code)
        if "amplification" in words:
            words = "its entities unfold without end; refused"
        line = first_line - 1 + error.lineno
        message = f"not well-formed XML: {words} (column {error.offset + 1})"
        raise ArtworkError(message, file=file, line=line) from None
    except _RefusalError as refusal:
        line = first_line - 1 + builder.parser.CurrentLineNumber
        raise ArtworkError(str(refusal), file=file, line=line) from None
    root = builder.root
    if root is None or root.tag != "svg":
        name = "nothing" if root is None else f"<{root.tag}>"
        raise ArtworkError(f"not an SVG file: its root is {name}", file=file)
    return root


def _unpacked(data: bytes, file: str) -> bytes:
    if data[:2] == b"\x1f\x8b":
        unpacker = zlib.decompressobj(wbits=31)
        try:
            data = unpacker.decompress(data, MOST_BYTES + 1)
        except zlib.error:
            raise ArtworkError("the gzip (.svgz) data are damaged", file=file) from None
        if not unpacker.eof and len(data) <= MOST_BYTES:
            raise ArtworkError("the gzip (.svgz) data are cut short", file=file)
    if len(data) > MOST_BYTES:
        raise ArtworkError(f"larger than {MOST_BYTES // 1_000_000} MB; refused", file=file)
    return data


def _text(data: bytes, file: str) -> str:
    if data[:4] == b"%PDF" or data[:4] == b"%!PS":
        raise ArtworkError("a PDF or PostScript file: save it as SVG first", file=file)
    if data.startswith((b"\x89PNG", b"\xff\xd8\xff", b"GIF8", b"BM")):
        words = "a picture has no outlines: trace it first (PNG and JPEG are traced as they are)"
        raise ArtworkError(words, file=file)
    encoding = next((name for mark, name in _MARKS if data.startswith(mark)), "")
    if not encoding:
        declared = _DECLARATION.match(data.lstrip()[:200])
        encoding = declared.group(1).decode("ascii").lower() if declared else "utf-8"
    try:
        return data.decode(encoding)
    except LookupError:
        raise ArtworkError(f'unknown encoding "{encoding}"', file=file, line=1) from None
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        raise ArtworkError(f"the text is not {encoding}", file=file, line=line) from None
    except UnicodeError:  # codecs that are none of text, such as punycode
        raise ArtworkError(f"the text is not {encoding}", file=file, line=1) from None


class _TreeBuilder:
    """Builds the tree from expat's events; names are resolved here so that lost prefixes do."""

    def __init__(self, line_offset: int) -> None:
        self.root: Node | None = None
        self.stack: list[Node] = []
        self.scopes: list[dict[str, str]] = [dict(_KNOWN)]
        self.line_offset = line_offset
        self.count = 0
        self.parser = expat.ParserCreate("utf-8")
        self.parser.buffer_text = True
        self.parser.ordered_attributes = True
        self.parser.StartElementHandler = self._start
        self.parser.EndElementHandler = self._end
        self.parser.CharacterDataHandler = self._characters

    def _start(self, name: str, flat: list[str]) -> None:
        self.count += 1
        if len(self.stack) >= MOST_DEPTH:
            raise _RefusalError(f"elements are nested over {MOST_DEPTH} deep; refused")
        if self.count > MOST_ELEMENTS:
            raise _RefusalError(f"over {MOST_ELEMENTS:,} elements; refused")
        attributes = dict(zip(flat[::2], flat[1::2], strict=True))
        scope = self._scope(attributes)
        self.scopes.append(scope)
        prefix, _, local = name.rpartition(":")
        uri = scope.get(prefix, prefix)
        tag = local if uri in (SVG, "") else f"{{{uri}}}{local}"
        node = Node(tag, _named(attributes, scope))
        node.line = self.parser.CurrentLineNumber + self.line_offset
        if self.stack:
            self.stack[-1].append(node)
        else:
            self.root = node
        self.stack.append(node)

    def _scope(self, attributes: dict[str, str]) -> dict[str, str]:
        scope = self.scopes[-1]
        declared = {
            name.partition(":")[2]: uri
            for name, uri in attributes.items()
            if name == "xmlns" or name.startswith("xmlns:")
        }
        return {**scope, **declared} if declared else scope

    def _end(self, _name: str) -> None:
        self.stack.pop()
        self.scopes.pop()

    def _characters(self, text: str) -> None:
        node = self.stack[-1]
        if node.tag not in _WITH_TEXT:
            return
        if len(node):
            node[-1].tail = (node[-1].tail or "") + text
        else:
            node.text = (node.text or "") + text


def _named(attributes: dict[str, str], scope: dict[str, str]) -> dict[str, str]:
    """Give attributes of known namespaces their usual prefix."""
    out: dict[str, str] = {}
    for name, value in attributes.items():
        prefix, _, local = name.rpartition(":")
        if prefix == "":
            out[local] = value
        elif prefix != "xmlns":
            uri = scope.get(prefix, prefix)
            known = PREFIXES.get(uri, prefix)
            key = f"{known}:{local}" if known else local
            out.setdefault(key, value)
    return out
