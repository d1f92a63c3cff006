"""The CSS cascade: style sheets, ``style`` attributes, presentation attributes, inheritance."""

from __future__ import annotations

import re
from typing import Any, Final

from stonelayout.errors import ArtworkError

from .css_values import parse_length
from .document import Node, every
from .font_properties import SIZES, shorthand, weight
from .style_properties import GEOMETRY, KNOWN, MARKER_PLACES, OWN, Properties, is_valid

#: Characters of style sheets, data (such as fonts) left out, that a drawing may have.
MOST_STYLES: Final = 300_000
_DATA: Final = re.compile(r"""url\(\s*+(?:"data:[^"]*+"|'data:[^']*+'|data:[^)]*+)\s*+\)""")
#: (important, specificity, order, name, value)
_Entry = tuple[bool, tuple[int, ...], int, str, str]


class Cascade:
    """The style sheets of one document, and the properties they give each element."""

    def __init__(self, root: Node, dpi: float) -> None:
        self.dpi = dpi
        #: What in the style sheets was not read, in words.
        self.notes: list[str] = []
        self._wrappers: dict[Node, Any] = {}
        self._matcher: Any = None
        self._order = 0
        sheets = [node for node in every(root) if node.tag == "style" and _is_css(node)]
        if any(sheet.text and sheet.text.strip() for sheet in sheets):
            self._read_sheets(root, sheets)

    def own(self, node: Node) -> Properties:
        """Return what the document says of this very element, as declared, without inheritance."""
        out = {name: value for name, value in node.attrib.items() if name in KNOWN}
        entries: list[_Entry] = []
        if self._matcher is not None:
            for specificity, order, _, block in self._matcher.match(self._wrappers[node]):
                entries += [
                    (important, specificity, order, name, value) for name, value, important in block
                ]
        style = node.attrib.get("style")
        if style:
            inline = (1 << 30, 0, 0)
            entries += [
                (important, inline, 0, name, value)
                for name, value, important in _declarations(style)
            ]
        if entries:
            entries.sort(key=lambda entry: entry[:3])
            out.update((entry[3], entry[4]) for entry in entries)
        return out

    def computed(self, node: Node, parent: Properties) -> Properties:
        """Return all properties of the element, given its parent's computed ones."""
        own = self.own(node)
        out = {**parent, **OWN}
        for name in GEOMETRY:
            out.pop(name, None)
        if not own:
            return out
        for name, value in own.items():
            word = value.strip().lower()
            if name not in KNOWN:
                out[name] = value
            elif word == "inherit":
                out[name] = parent[name]
            elif word in ("initial", "unset", "revert"):
                if word == "initial" or name in OWN:
                    out[name] = KNOWN[name]
            elif is_valid(name, value):
                out[name] = value.strip()
        self._compute_font(own, out, parent)
        if out["color"].lower() == "currentcolor":
            out["color"] = parent["color"]
        return out

    def _compute_font(self, own: Properties, out: Properties, parent: Properties) -> None:
        """Replace what refers to the font's size or weight by plain numbers."""
        if "font-size" in own:
            out["font-size"] = self._font_size(out["font-size"], parent["font-size"])
        if "font-weight" in own:
            out["font-weight"] = weight(out["font-weight"], parent["font-weight"])
        for name in ("letter-spacing", "word-spacing"):
            if name in own:  # lengths in em are those of the element that says so
                size = float(out["font-size"])
                space = parse_length(out[name], dpi=self.dpi, percent_of=size, font_size=size)
                out[name] = "normal" if space is None else repr(space)

    def _font_size(self, text: str, inherited: str) -> str:
        size = float(inherited)
        if text in SIZES:
            return repr(SIZES[text])
        if text in ("larger", "smaller"):
            return repr(size * 1.2 if text == "larger" else size / 1.2)
        value = parse_length(text, dpi=self.dpi, percent_of=size, font_size=size)
        return inherited if value is None or value < 0.0 else repr(value)

    def _read_sheets(self, root: Node, sheets: list[Node]) -> None:
        import tinycss2

        from .selectors import Matcher, Wrapped

        texts = [_DATA.sub("url()", sheet.text or "") for sheet in sheets]
        if sum(map(len, texts)) > MOST_STYLES:
            raise ArtworkError(f"style sheets of over {MOST_STYLES:,} characters; refused")
        self._matcher = Matcher()
        for text in texts:
            rules = tinycss2.parse_stylesheet(text, skip_comments=True, skip_whitespace=True)
            self._add_rules(rules, depth=0)
        wrapper = Wrapped.from_xml_root(root)
        self._wrappers = {element.etree_element: element for element in wrapper.iter_subtree()}

    def _add_rules(self, rules: list[Any], depth: int) -> None:
        import cssselect2
        import tinycss2

        for rule in rules:
            if rule.type == "at-rule":
                self._at_rule(rule, depth)
            elif rule.type == "error":
                self._note(f"a style rule could not be read ({rule.message})")
            elif rule.type == "qualified-rule":
                block = _declarations(rule.content)
                try:
                    selectors = cssselect2.compile_selector_list(rule.prelude)
                except cssselect2.SelectorError as error:
                    name = tinycss2.serialize(rule.prelude).strip()
                    self._note(f'the selector "{name}" could not be read ({error})')
                    continue
                for selector in selectors:
                    if selector.pseudo_element is None:
                        self._matcher.add_selector(selector, block)

    def _at_rule(self, rule: Any, depth: int) -> None:
        import tinycss2

        name = rule.lower_at_keyword
        if name == "media" and rule.content is not None and depth < 8:
            media = tinycss2.serialize(rule.prelude).strip().lower()
            if media in ("", "all", "screen"):
                inner = tinycss2.parse_rule_list(
                    rule.content, skip_comments=True, skip_whitespace=True
                )
                self._add_rules(inner, depth + 1)
                return
            self._note(f'the styles for media "{media}" were not used')
        elif name == "import":
            self._note("a style sheet outside the file (@import) was not read: embed it")
        elif name not in ("charset", "namespace", "font-face"):
            self._note(f"the style rule @{name} was not read")

    def _note(self, text: str) -> None:
        if text not in self.notes and len(self.notes) < 20:
            self.notes.append(text)


def _is_css(node: Node) -> bool:
    kind = node.attrib.get("type", "").strip().lower()
    media = node.attrib.get("media", "").strip().lower()
    return kind in ("", "text/css") and media in ("", "all", "screen")


def _declarations(source: Any) -> list[tuple[str, str, bool]]:
    """Return (name, value, important) of a block or a ``style`` attribute."""
    import tinycss2

    out: list[tuple[str, str, bool]] = []
    parsed = tinycss2.parse_blocks_contents(source, skip_comments=True, skip_whitespace=True)
    for declaration in parsed:
        if declaration.type != "declaration":
            continue
        name = declaration.lower_name
        value = "".join(
            token.serialize() for token in declaration.value if token.type != "comment"
        ).strip()
        if name == "marker":
            out += [(f"marker-{at}", value, declaration.important) for at in MARKER_PLACES]
        elif name == "font":
            out += [(*pair, declaration.important) for pair in shorthand(value)]
        elif name in KNOWN or name in GEOMETRY:
            out.append((name, value, declaration.important))
    return out
