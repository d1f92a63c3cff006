"""The walk over the document in paint order: every shape, with its graphics state."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import Final

from stonelayout.errors import ArtworkError

from . import unsupported
from .basic_shapes import READERS, refuse_non_finite
from .clip_paths import with_clip
from .context import Context, GraphicsState, Visit, Walk, located
from .css_values import Matrix, multiply, translation
from .document import Node, children
from .style_properties import INITIAL, MARKER_PLACES, OWN, Properties, opacity
from .text_outlines import text_visits
from .transforms import with_transform
from .use_limits import CONTAINERS, unfolded
from .viewbox import nested_viewport, view_box

#: How many elements all ``use`` together may unfold to, and how deep they may nest.
MOST_VISITS: Final = 50_000
MOST_NESTING: Final = 512
_LANGUAGE: Final = "en"


def with_style(walk: Walk, node: Node, state: GraphicsState) -> GraphicsState | None:
    """Return the state with the element's computed properties; None (reported) where hidden."""
    properties = walk.context.cascade.computed(node, state.properties)
    for name in ("fill", "stroke"):
        if properties[name].startswith("context-"):
            properties[name] = state.context[properties[name] != "context-fill"]
    reason = _hidden_reason(properties)
    if reason:
        count = sum(1 for child in node.iter() if child.tag in READERS)
        walk.context.skip(node, state, reason, count=max(1, count))
        return None
    return replace(state, properties=properties, depth=state.depth + 1)


def with_layer(walk: Walk, node: Node, state: GraphicsState) -> GraphicsState:
    """Return the state with the layer and the groups that the element opens."""
    layer, layer_id, in_layer = _layer(node, state)
    holds = node.tag in (*CONTAINERS, "use", "switch") and node is not walk.context.root
    group = (node.attrib["id"],) if holds and node.attrib.get("id") else ()
    return replace(
        state,
        layer=layer,
        layer_id=layer_id,
        in_layer=in_layer,
        groups=(*state.groups, *group),
    )


def with_effects_reported(walk: Walk, node: Node, state: GraphicsState) -> GraphicsState:
    """Report the masks, filters and markers, which are not read."""
    context, properties = walk.context, state.properties
    if properties["mask"] != "none" and context.target(properties["mask"]) is not None:
        context.skip(node, state, unsupported.MASKED, drawn=True)
    if properties["filter"] != "none":
        context.skip(node, state, unsupported.FILTERED, drawn=True)
    if node.tag in ("path", "line", "polyline", "polygon"):
        marks = (properties[f"marker-{at}"] for at in MARKER_PLACES)
        if any(context.target(mark) is not None for mark in marks if mark != "none"):
            context.skip(node, state, unsupported.MARKED, drawn=True)
    return state


def with_viewport(walk: Walk, node: Node, state: GraphicsState) -> GraphicsState | None:
    """Return the state inside a nested ``svg``; that of any other element as it is."""
    if node.tag != "svg" or node is walk.context.root:
        return state
    return nested_viewport(walk.context, node, state)


Step = Callable[[Walk, Node, GraphicsState], GraphicsState | None]
#: What is done to enter an element, in this order; None ends it: the element is not drawn.
ENTERING: Final[tuple[Step, ...]] = (
    with_style,
    with_layer,
    with_transform,
    with_effects_reported,
    with_clip,
    with_viewport,
)


@dataclass(eq=False)
class Traversal:
    """Walks one document; what is not read or not drawn goes to the context's lists."""

    context: Context
    #: Elements met inside ``use`` so far.
    visits: int = 0

    def shapes(self, matrix: Matrix, viewport: tuple[float, float]) -> Iterator[Visit]:
        """Yield every shape that is drawn, in paint order. Raises ArtworkError at the limits."""
        root, ids = self.context.root, self.context.ids
        counts = (unfolded(root, ids, test) for test in (_is_hidden, self._is_left_out))
        if all(count > MOST_VISITS for count in counts):  # style sheets are asked only in need
            raise ArtworkError(f"<use> unfolds to over {MOST_VISITS:,} elements; refused")
        box = view_box(root)
        origin = box[:2] if box else (0.0, 0.0)
        inside = self.enter(root, GraphicsState(matrix, {**INITIAL, **OWN}, viewport, origin))
        if inside is not None:
            yield from self.visit_all(self._within(root, inside))

    def _is_left_out(self, node: Node) -> bool:
        return self.context.cascade.own(node).get("display", "").strip() == "none"

    def enter(self, node: Node, outer: GraphicsState) -> GraphicsState | None:
        """Return the state inside an element, None (reported) where it is not drawn."""
        state = outer
        for step in ENTERING:
            inside = step(self, node, state)
            if inside is None:
                return None
            state = inside
        return state

    def visit_all(self, stack: list[tuple[Node, GraphicsState]]) -> Iterator[Visit]:
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
            if node.tag in READERS or node.tag == "text":
                yield from self._own_shapes(node, inside)
            else:
                stack += self._within(node, inside)

    def drawn_by(self, node: Node, state: GraphicsState) -> Iterator[Visit]:
        """Yield the shapes of one element, given the state inside it."""
        if node.tag in READERS or node.tag == "text":
            yield from self._own_shapes(node, state)
        else:
            yield from self.visit_all(self._within(node, state))

    def _own_shapes(self, node: Node, state: GraphicsState) -> list[Visit]:
        if node.tag == "text":
            fonts = self.context.fonts
            return [] if fonts is None else text_visits(self.context, fonts, node, state)
        units = self.context.units(state)
        from_css = {
            name: value
            for name, value in state.properties.items()
            if name not in INITIAL and name not in OWN
        }
        given = {**node.attrib, **from_css} if from_css else node.attrib
        try:
            refuse_non_finite(given)
            geometry = READERS[node.tag](given, units)
        except ArtworkError as error:
            raise located(error, node) from None
        return [Visit(node, state, geometry.subpaths, geometry.problem, units)]

    def _within(self, node: Node, state: GraphicsState) -> list[tuple[Node, GraphicsState]]:
        """Return what an element holds or refers to, to be entered in turn (last first)."""
        if node.tag == "use":
            return self._used(node, state)
        if node.tag == "switch":
            return [(child, state) for child in _chosen(node)]
        return [(child, state) for child in reversed(children(node))]

    def _used(self, node: Node, state: GraphicsState) -> list[tuple[Node, GraphicsState]]:
        context = self.context
        href = node.attrib.get("href") or node.attrib.get("xlink:href") or ""
        href = href.strip()
        target = context.ids.get(href[1:]) if href.startswith("#") else None
        if target is None:
            where = "another file" if href and not href.startswith("#") else "nothing"
            context.skip(node, state, f'refers to {where} ("{href[:60]}")')
            return []
        if target in state.uses or _holds(target, node):
            context.skip(node, state, f'refers to itself ("{href}"): it is not drawn')
            return []
        units = context.units(state)
        x = units.length(node.attrib.get("x"), "x") or 0.0
        y = units.length(node.attrib.get("y"), "y") or 0.0
        name = state.use_id or node.attrib.get("id", "")
        inside = replace(
            state,
            uses=(*state.uses, target),
            context=(state.properties["fill"], state.properties["stroke"]),
            use_id=name if target.tag in READERS or target.tag == "use" else "",
            size=(node.attrib.get("width"), node.attrib.get("height")),
        )
        if x or y:
            inside = replace(inside, matrix=multiply(state.matrix, translation(x, y)))
        if target.tag != "symbol":
            if target.tag != "svg":
                inside = replace(inside, size=(None, None))
            return [(target, inside)]
        entered = self.enter(target, inside)
        entered = nested_viewport(context, target, entered) if entered is not None else None
        if entered is None:
            return []
        return [(child, entered) for child in reversed(children(target))]

    def _can_be_drawn(self, node: Node, state: GraphicsState) -> bool:
        """Tell whether the element is one that is read; report one that should have been."""
        tag, context = node.tag, self.context
        read = tag in READERS or tag in CONTAINERS or tag in ("use", "switch")
        if read or (tag == "text" and context.fonts is not None):
            if _conditions_hold(node):
                return True
            context.skip(node, state, "is for another language or program (systemLanguage, ...)")
        elif tag in unsupported.ANIMATIONS:
            context.note("animations are not read: shapes were taken as they stand at the start")
        elif tag in unsupported.NOT_READ:
            if self._is_visible(node, state):
                context.skip(node, state, unsupported.NOT_READ[tag])
        elif tag not in unsupported.SILENT and not tag.startswith("{") and ":" not in tag:
            context.skip(node, state, "is no element of SVG and was passed over")
        return False

    def _is_visible(self, node: Node, state: GraphicsState) -> bool:
        properties = self.context.cascade.computed(node, state.properties)
        return _hidden_reason(properties) == "" and properties["visibility"] == "visible"


def _hidden_reason(properties: Properties) -> str:
    if properties["display"] == "none":
        return unsupported.HIDDEN
    return unsupported.TRANSPARENT if opacity(properties["opacity"]) == 0.0 else ""


def _is_hidden(node: Node) -> bool:
    return node.attrib.get("display") == "none"


def _holds(target: Node, node: Node) -> bool:
    return any(child is node for child in target.iter("use"))


def _layer(node: Node, outer: GraphicsState) -> tuple[str, str, bool]:
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
        if (drawable or child.tag in unsupported.NOT_READ) and _conditions_hold(child):
            return [child]
    return []


def _conditions_hold(node: Node) -> bool:
    if node.attrib.get("requiredExtensions", "").strip():
        return False
    languages = node.attrib.get("systemLanguage")
    if languages is None:
        return True
    return any(part.strip().lower().partition("-")[0] == _LANGUAGE for part in languages.split(","))
