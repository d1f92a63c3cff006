"""The walk over the document: transforms, viewports, ``use``, ``switch``, layers, visibility."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from stonelayout.errors import ArtworkError
from stonelayout.geometry.flattening import Subpath

from . import unsupported as skips
from .basic_shapes import READERS, Units, refuse_non_finite
from .cascade import INITIAL, OWN, Cascade, Properties, opacity
from .document import Node, children, every
from .element_regions import LEAST_SCALE, font_size, scales
from .font_properties import TextFonts
from .paint import reference
from .transforms import matrix_of
from .use_limits import CONTAINERS, unfolded
from .values import IDENTITY, Matrix, multiply, translation
from .viewbox import fit, view_box

#: How many elements all ``use`` together may unfold to, and how deep they may nest.
MOST_VISITS: Final = 50_000
MOST_NESTING: Final = 512
#: Notes on one drawing that anyone reads.
_MOST_NOTES: Final = 50
_LANGUAGE: Final = "en"


@dataclass(frozen=True, eq=False)
class Frame:
    """Everything an element inherits from where it stands (and from what uses it)."""

    matrix: Matrix
    properties: Properties
    viewport: tuple[float, float]
    origin: tuple[float, float] = (0.0, 0.0)
    layer: str = ""
    layer_id: str = ""
    in_layer: bool = False
    groups: tuple[str, ...] = ()
    clip: BaseGeometry | None = None
    uses: tuple[Node, ...] = ()
    context: tuple[str, str] = ("none", "none")
    use_id: str = ""
    depth: int = 0
    size: tuple[str | None, str | None] = (None, None)


@dataclass(frozen=True, eq=False)
class Visit:
    """One shape element met on the walk, with its geometry in user units."""

    node: Node
    frame: Frame
    subpaths: list[Subpath]
    problem: str
    units: Units


@dataclass(eq=False)
class Walker:
    """Walks one document. ``skipped`` and ``notes`` collect what was not understood."""

    root: Node
    cascade: Cascade
    dpi: float
    tolerance: float
    #: What finds fonts for text; None: text is skipped.
    fonts: TextFonts | None = None
    skipped: skips.SkipList = field(default_factory=skips.SkipList)
    notes: list[str] = field(default_factory=list)
    ids: dict[str, Node] = field(init=False)
    parents: dict[Node, Node] = field(init=False)
    visits: int = 0
    clip_count: int = 0
    letters: int = 0
    boxed: int = 0
    #: True inside clip paths, where nothing is reported.
    quiet: bool = False
    #: True while a box is worked out, which no clip makes smaller.
    boxing: bool = False
    #: clipPaths being read, to refuse those that clip themselves.
    clipping: list[Node] = field(default_factory=list)
    #: Clip regions worked out, by clipPath and the place of the element that it clips.
    clips: dict[tuple[Node, bytes], BaseGeometry] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.ids, self.parents = {}, {}
        for node in every(self.root):
            self.parents.update((child, node) for child in children(node))
            name = node.attrib.get("id")
            if name:
                self.ids.setdefault(name, node)

    def shapes(self, matrix: Matrix, viewport: tuple[float, float]) -> Iterator[Visit]:
        """Yield every shape that is drawn, in paint order. Raises ArtworkError at the limits."""
        counts = (unfolded(self.root, self.ids, test) for test in (_is_hidden, self._is_left_out))
        if all(count > MOST_VISITS for count in counts):  # style sheets are asked only in need
            raise ArtworkError(f"<use> unfolds to over {MOST_VISITS:,} elements; refused")
        box = view_box(self.root)
        frame = Frame(matrix, {**INITIAL, **OWN}, viewport, box[:2] if box else (0.0, 0.0))
        inside = self.enter(self.root, frame)
        if inside is not None:
            yield from self.below(self.root, inside)

    def _is_left_out(self, node: Node) -> bool:
        return self.cascade.own(node).get("display", "").strip() == "none"

    def below(self, parent: Node, frame: Frame) -> Iterator[Visit]:
        """Yield the shapes under a container that was entered."""
        return self.visit_all([(child, frame) for child in reversed(children(parent))])

    def visit_all(self, stack: list[tuple[Node, Frame]]) -> Iterator[Visit]:
        """Yield the shapes of elements still to be entered, taken from the end."""
        while stack:
            node, outer = stack.pop()
            self.visits += bool(outer.uses)
            if self.visits > MOST_VISITS:
                raise ArtworkError(f"<use> unfolds to over {MOST_VISITS:,} elements; refused")
            if outer.depth > MOST_NESTING:
                raise ArtworkError(f"<use> nests over {MOST_NESTING} deep; refused", line=node.line)
            if not self._can_be_drawn(node, outer):
                continue
            inside = self.enter(node, outer)
            if inside is None:
                continue
            if node.tag in READERS:
                yield self.geometry(node, inside)
            elif node.tag == "text":
                yield from self.text(node, inside)
            elif node.tag == "use":
                stack += self.used(node, inside)
            elif node.tag == "switch":
                stack += [(child, inside) for child in _chosen(node)]
            else:
                stack += [(child, inside) for child in reversed(children(node))]

    def _can_be_drawn(self, node: Node, frame: Frame) -> bool:
        """Tell whether the element is one that is read; report one that should have been."""
        tag = node.tag
        read = tag in READERS or tag in CONTAINERS or tag in ("use", "switch")
        if read or (tag == "text" and self.fonts is not None):
            if _conditions_hold(node):
                return True
            self.skip(node, frame, "is for another language or program (systemLanguage, ...)")
        elif tag in skips.ANIMATIONS:
            self.note("animations are not read: shapes were taken as they stand at the start")
        elif tag in skips.NOT_READ:
            if self._is_visible(node, frame):
                self.skip(node, frame, skips.NOT_READ[tag])
        elif tag not in skips.SILENT and not tag.startswith("{") and ":" not in tag:
            self.skip(node, frame, "is no element of SVG and was passed over")
        return False

    def _is_visible(self, node: Node, frame: Frame) -> bool:
        properties = self.cascade.computed(node, frame.properties)
        return self._hidden_reason(properties) == "" and properties["visibility"] == "visible"

    @staticmethod
    def _hidden_reason(properties: Properties) -> str:
        if properties["display"] == "none":
            return skips.HIDDEN
        return skips.TRANSPARENT if opacity(properties["opacity"]) == 0.0 else ""

    def enter(self, node: Node, outer: Frame) -> Frame | None:
        """Return the frame inside an element, None (reported) where it is not drawn."""
        properties = self.cascade.computed(node, outer.properties)
        for name in ("fill", "stroke"):
            if properties[name].startswith("context-"):
                properties[name] = outer.context[properties[name] != "context-fill"]
        reason = self._hidden_reason(properties)
        if reason:
            count = sum(1 for child in node.iter() if child.tag in READERS)
            self.skip(node, outer, reason, count=max(1, count))
            return None
        layer = _layer(node, outer)
        inside = replace(
            outer,
            properties=properties,
            depth=outer.depth + 1,
            layer=layer[0],
            layer_id=layer[1],
            in_layer=layer[2],
            groups=(*outer.groups, *self._group(node)),
        )
        units = self.units(inside)
        own = matrix_of(node, properties, units, outer.origin, self)
        if own is not IDENTITY:
            inside = replace(inside, matrix=multiply(inside.matrix, own))
            if not np.isfinite(inside.matrix).all() or scales(inside.matrix)[1] < LEAST_SCALE:
                self.skip(node, inside, "its transform flattens it to nothing")
                return None
        self._report_effects(node, inside)
        framed = self._with_clip(node, inside)
        if node.tag == "svg" and node is not self.root:
            return self._viewport(node, framed)
        return framed

    def _group(self, node: Node) -> tuple[str, ...]:
        """Return the id of an element that holds others, in a tuple; () for any other."""
        holds = node.tag in (*CONTAINERS, "use", "switch") and node is not self.root
        return (node.attrib["id"],) if holds and node.attrib.get("id") else ()

    def _report_effects(self, node: Node, frame: Frame) -> None:
        properties = frame.properties
        if properties["mask"] != "none" and self.target(properties["mask"]) is not None:
            self.skip(node, frame, skips.MASKED, drawn=True)
        if properties["filter"] != "none":
            self.skip(node, frame, skips.FILTERED, drawn=True)
        if node.tag in ("path", "line", "polyline", "polygon"):
            marks = (properties[f"marker-{at}"] for at in ("start", "mid", "end"))
            if any(self.target(mark) is not None for mark in marks if mark != "none"):
                self.skip(node, frame, skips.MARKED, drawn=True)

    def target(self, text: str) -> Node | None:
        """Return the element that ``url(#id)`` names."""
        link = reference(text)
        return self.ids.get(link[0]) if link else None

    def _with_clip(self, node: Node, frame: Frame) -> Frame:
        text = frame.properties["clip-path"]
        if text == "none" or self.boxing:
            return frame
        from .clip_paths import clip_region
        from .css_clip_shapes import basic_clip

        target = self.target(text)
        if target is None or target.tag != "clipPath":
            if reference(text) is not None:
                return frame
            region = basic_clip(self, text, node, frame)
            if region is None:
                words = f'its clip-path "{text}" is not read: it was taken whole'
                self.skip(node, frame, words, drawn=True)
        else:
            region = clip_region(self, target, node, frame)
        if region is None:
            return frame
        if frame.clip is not None:
            region = frame.clip.intersection(region)
        return replace(frame, clip=region)

    def units(self, frame: Frame) -> Units:
        """Return what lengths refer to in a frame."""
        return Units(frame.viewport, font_size(frame.properties), self.dpi)

    def _viewport(self, node: Node, frame: Frame) -> Frame | None:
        """Enter a nested ``svg`` (or ``symbol``): its own viewport, view box and clip."""
        units = self.units(frame)
        given = node.attrib
        x = y = 0.0
        if node.tag == "svg":
            x = units.length(given.get("x"), "x") or 0.0
            y = units.length(given.get("y"), "y") or 0.0
        width = units.length(frame.size[0] or given.get("width") or "100%", "x")
        height = units.length(frame.size[1] or given.get("height") or "100%", "y")
        width = frame.viewport[0] if width is None else width
        height = frame.viewport[1] if height is None else height
        if width <= 0.0 or height <= 0.0:
            self.skip(node, frame, "its width or height is zero: it is not drawn")
            return None
        matrix = multiply(frame.matrix, translation(x, y))
        overflow = frame.properties["overflow"]
        clip = frame.clip
        if overflow not in ("visible", "auto"):
            corners = np.array([[0, 0], [width, 0], [width, height], [0, height]], dtype=float)
            window = shapely.Polygon(corners @ matrix[:, :2].T + matrix[:, 2])
            clip = window if clip is None else clip.intersection(window)
        box = view_box(node)
        if box is not None:
            aspect = given.get("preserveAspectRatio", "")
            matrix = multiply(matrix, fit(box, width, height, aspect))
        return replace(
            frame,
            matrix=matrix,
            clip=clip,
            viewport=box[2:] if box else (width, height),
            origin=box[:2] if box else (0.0, 0.0),
            size=(None, None),
        )

    def geometry(self, node: Node, frame: Frame) -> Visit:
        """Read the geometry of one shape element."""
        units = self.units(frame)
        own = {
            name: value
            for name, value in frame.properties.items()
            if name not in INITIAL and name not in OWN
        }
        given = {**node.attrib, **own} if own else node.attrib
        try:
            refuse_non_finite(given)
            geometry = READERS[node.tag](given, units)
        except ArtworkError as error:
            raise located(error, node) from None
        return Visit(node, frame, geometry.subpaths, geometry.problem, units)

    def text(self, node: Node, frame: Frame) -> list[Visit]:
        """Read a text as outlines; what cannot be is skipped."""
        from .text_outlines import text_visits

        return [] if self.fonts is None else text_visits(self, self.fonts, node, frame)

    def used(self, node: Node, frame: Frame) -> list[tuple[Node, Frame]]:
        """Return what a ``use`` draws, with the frame to draw it in (last first)."""
        href = node.attrib.get("href") or node.attrib.get("xlink:href") or ""
        href = href.strip()
        target = self.ids.get(href[1:]) if href.startswith("#") else None
        if target is None:
            where = "another file" if href and not href.startswith("#") else "nothing"
            self.skip(node, frame, f'refers to {where} ("{href[:60]}")')
            return []
        if target in frame.uses or _holds(target, node):
            self.skip(node, frame, f'refers to itself ("{href}"): it is not drawn')
            return []
        units = self.units(frame)
        x = units.length(node.attrib.get("x"), "x") or 0.0
        y = units.length(node.attrib.get("y"), "y") or 0.0
        name = frame.use_id or node.attrib.get("id", "")
        inside = replace(
            frame,
            uses=(*frame.uses, target),
            context=(frame.properties["fill"], frame.properties["stroke"]),
            use_id=name if target.tag in READERS or target.tag == "use" else "",
            size=(node.attrib.get("width"), node.attrib.get("height")),
        )
        if x or y:
            inside = replace(inside, matrix=multiply(frame.matrix, translation(x, y)))
        if target.tag != "symbol":
            if target.tag != "svg":
                inside = replace(inside, size=(None, None))
            return [(target, inside)]
        entered = self.enter(target, inside)
        entered = self._viewport(target, entered) if entered is not None else None
        if entered is None:
            return []
        return [(child, entered) for child in reversed(children(target))]

    def skip(
        self, node: Node, frame: Frame, reason: str, count: int = 1, *, drawn: bool = False
    ) -> None:
        """Report an element that is not drawn, or (``drawn``) not as it should be."""
        if not self.quiet:
            self.skipped.add(
                node.tag,
                reason,
                element_id=node.attrib.get("id", ""),
                layer=frame.layer,
                line=node.line,
                count=count,
                drawn=drawn,
            )

    def inherited(self, node: Node) -> Properties:
        """Return the properties of an element where it stands, not where it is used."""
        chain = [node]
        while chain[-1] in self.parents:
            chain.append(self.parents[chain[-1]])
        properties: Properties = {**INITIAL, **OWN}
        for link in reversed(chain):
            properties = self.cascade.computed(link, properties)
        return properties

    def note(self, text: str) -> None:
        """Say something once about the whole drawing."""
        if len(self.notes) < _MOST_NOTES and text not in self.notes:
            self.notes.append(text)


def located(error: ArtworkError, node: Node) -> ArtworkError:
    """Say which element an error is about."""
    if error.element is None:
        name = node.attrib.get("id")
        error.element = f'<{node.tag} id="{name}">' if name else f"<{node.tag}>"
    if error.line is None:
        error.line = node.line
    return error


def _is_hidden(node: Node) -> bool:
    return node.attrib.get("display") == "none"


def _holds(target: Node, node: Node) -> bool:
    return any(child is node for child in target.iter("use"))


def _layer(node: Node, outer: Frame) -> tuple[str, str, bool]:
    """Return (name, id, whether it is an editor's layer) for what stands in the element."""
    if node.tag not in CONTAINERS:
        return outer.layer, outer.layer_id, outer.in_layer
    label, name = node.attrib.get("inkscape:label", ""), node.attrib.get("id", "")
    if node.attrib.get("inkscape:groupmode") == "layer":
        return label or name, name, True
    if outer.in_layer or node.tag == "svg" or not (label or name):
        return outer.layer, outer.layer_id, outer.in_layer
    return label or name, name, False


def _chosen(switch: Node) -> list[Node]:
    """Return the first child of a ``switch`` whose conditions hold."""
    for child in children(switch):
        drawable = child.tag in READERS or child.tag in (*CONTAINERS, "use", "switch")
        if (drawable or child.tag in skips.NOT_READ) and _conditions_hold(child):
            return [child]
    return []


def _conditions_hold(node: Node) -> bool:
    if node.attrib.get("requiredExtensions", "").strip():
        return False
    languages = node.attrib.get("systemLanguage")
    if languages is None:
        return True
    return any(part.strip().lower().partition("-")[0] == _LANGUAGE for part in languages.split(","))
