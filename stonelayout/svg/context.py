"""What the steps of reading share: the drawing, the graphics state, the contract of the walk.

The walk (``traversal``) calls the features; a feature that needs the shapes of other elements
(boxes, clip paths) calls back through ``Walk`` alone, so no feature imports the walk.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from typing import Final, Protocol

from shapely.geometry.base import BaseGeometry

from stonelayout.errors import ArtworkError
from stonelayout.geometry.flattening import Subpath

from . import unsupported
from .basic_shapes import Units
from .cascade import Cascade
from .css_values import Matrix
from .document import Node, children, every
from .font_properties import TextFonts
from .style_properties import INITIAL, OWN, Properties, font_size, reference

#: The most notes on one drawing.
_MOST_NOTES: Final = 50


@dataclass(frozen=True, eq=False)
class GraphicsState:
    """All that an element has from where it stands, and from what uses it.

    ``matrix`` takes its user units to mm on the page, ``viewport`` and ``origin`` are the size
    and corner of the viewport in user units, ``clip`` is in mm (None: not clipped).
    """

    matrix: Matrix
    properties: Properties
    viewport: tuple[float, float]
    origin: tuple[float, float] = (0.0, 0.0)
    layer: str = ""
    layer_id: str = ""
    in_layer: bool = False
    groups: tuple[str, ...] = ()
    clip: BaseGeometry | None = None
    #: What ``use`` elements around it refer to, outermost first.
    uses: tuple[Node, ...] = ()
    #: Fill and stroke of the nearest ``use`` (context-fill, context-stroke).
    context: tuple[str, str] = ("none", "none")
    #: Id of the ``use`` whose only shape it is.
    use_id: str = ""
    depth: int = 0
    #: Width and height that a ``use`` gives the ``svg`` or ``symbol`` it refers to.
    size: tuple[str | None, str | None] = (None, None)


@dataclass(frozen=True, eq=False)
class Visit:
    """One shape element met on the walk, with its geometry in user units.

    ``problem`` says what was wrong with it, "" when nothing was.
    """

    node: Node
    state: GraphicsState
    subpaths: list[Subpath]
    problem: str
    units: Units


@dataclass(eq=False)
class Context:
    """One drawing while it is read. ``skipped`` and ``notes`` collect what was not understood."""

    root: Node
    cascade: Cascade
    dpi: float
    #: Chord error of flattened curves in mm.
    tolerance: float
    #: What finds fonts for text; None: text is skipped.
    fonts: TextFonts | None = None
    skipped: unsupported.SkipList = field(default_factory=unsupported.SkipList)
    notes: list[str] = field(default_factory=list)
    ids: dict[str, Node] = field(init=False)
    parents: dict[Node, Node] = field(init=False)
    #: What was worked out so far, against the limits: clip paths, characters, elements in boxes.
    clip_count: int = 0
    characters: int = 0
    boxed: int = 0
    #: True inside clip paths and boxes, where nothing is reported.
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

    def units(self, state: GraphicsState) -> Units:
        """Return what lengths refer to in a state."""
        return Units(state.viewport, font_size(state.properties), self.dpi)

    def target(self, text: str) -> Node | None:
        """Return the element that ``url(#id)`` names."""
        link = reference(text)
        return self.ids.get(link[0]) if link else None

    def inherited(self, node: Node) -> Properties:
        """Return the properties of an element where it stands, not where it is used."""
        chain = [node]
        while chain[-1] in self.parents:
            chain.append(self.parents[chain[-1]])
        properties: Properties = {**INITIAL, **OWN}
        for link in reversed(chain):
            properties = self.cascade.computed(link, properties)
        return properties

    def skip(
        self, node: Node, state: GraphicsState, reason: str, count: int = 1, *, drawn: bool = False
    ) -> None:
        """Report an element that is not drawn, or (``drawn``) not as it should be."""
        if not self.quiet:
            self.skipped.add(
                node.tag,
                reason,
                element_id=node.attrib.get("id", ""),
                layer=state.layer,
                line=node.line,
                count=count,
                drawn=drawn,
            )

    def note(self, text: str) -> None:
        """Say something once about the whole drawing."""
        if len(self.notes) < _MOST_NOTES and text not in self.notes:
            self.notes.append(text)


class Walk(Protocol):
    """The walk over a drawing, as far as a feature calls it back."""

    context: Context

    def drawn_by(self, node: Node, state: GraphicsState) -> Iterable[Visit]:
        """Return the shapes of one element, given the state inside it."""
        ...

    def visit_all(self, stack: list[tuple[Node, GraphicsState]]) -> Iterator[Visit]:
        """Yield the shapes of elements still to be entered, taken from the end."""
        ...


def located(error: ArtworkError, node: Node) -> ArtworkError:
    """Say which element an error is about."""
    if error.element is None:
        name = node.attrib.get("id")
        error.element = f'<{node.tag} id="{name}">' if name else f"<{node.tag}>"
    if error.line is None:
        error.line = node.line
    return error
