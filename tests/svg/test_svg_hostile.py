"""Hostile and broken files: one clear error, in bounded time, never a crash."""

import copy
import gzip
import random
import re
from xml.etree import ElementTree

import pytest
from svg_texts import HEAD

from stonelayout.errors import ArtworkError, StoneLayoutError
from stonelayout.svg import read_svg

END = "</svg>"
RECT = '<rect width="5" height="5"/>'
SEED = (
    '<g id="a" transform="rotate(30)"><use href="#p" x="3"/></g>'
    "<style>.k{fill:red}</style>"
    '<path id="p" class="k" d="M1 1C5 5 9 1 9 9A3 2 5 0 1 4 4z"'
    ' stroke="#00f" stroke-width="2" stroke-dasharray="3 1"/>'
    '<clipPath id="c"><circle r="9"/></clipPath>'
    '<rect width="40" height="30" rx="4" clip-path="url(#c)"/>'
)
BOMB = '<!DOCTYPE svg [<!ENTITY a "aaaaaaaaaa">' + "".join(
    f'<!ENTITY {chr(98 + i)} "{f"&{chr(97 + i)};" * 10}">' for i in range(9)
)


def nested_uses(levels, fan):
    groups = "".join(
        f'<g id="a{i + 1}">{f"""<use href="#a{i}"/>""" * fan}</g>' for i in range(levels)
    )
    return f'<defs><rect id="a0" width="5" height="5"/>{groups}</defs><use href="#a{levels}"/>'


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "empty"),
        (b"hello", "not an SVG"),
        (b"%PDF-1.7", "PDF"),
        (b"\x89PNG\r\n\x1a\n", "trace it first"),
        (b"<html/>", "root is <html>"),
        (HEAD + "<g>", "not well-formed"),
        (HEAD + "\n<text>a & b</text>" + END, "f.svg:2"),
        (HEAD + END, "no shapes"),
        (HEAD + '<text>Hi</text><text>Ho</text>' + END, "2 x <text>"),
        (BOMB + "]>" + HEAD + "<text>&j;</text>" + END, "unfold without end"),
        (HEAD + "<g>" * 1000 + "</g>" * 1000 + END, "nested over"),
        (HEAD + "<g/>" * 200_001 + END, "elements"),
        (HEAD + '<path id="p" d="M0 0L1e400 5z"/>' + END, '<path id="p">'),
        (HEAD + '<path id="p" d="M0 0L1e308 5z"/>' + END, "beyond"),
        (HEAD + '<path d="M0 0A1e200 1e200 0 1 1 5 5z"/>' + END, "radius"),
        (HEAD + '<path d="M0 0L9 9" stroke="red" stroke-dasharray="1e-9"/>' + END, "dashes"),
        (HEAD + '<g transform="scale(1e30)"><rect width="5" height="5"/></g>' + END, "beyond"),
        (HEAD.replace("100mm", "0") + '<rect width="5" height="5"/>' + END, "no size"),
        (HEAD + '<rect width="5" height="5" style="fill:' + "(" * 20000 + '"/>' + END, "too deep"),
        ((HEAD + '<rect id="é"/>' + END).encode("latin-1"), "not utf-8"),
        (gzip.compress(HEAD.encode(), mtime=0)[:40], "cut short"),
        (gzip.compress(HEAD.encode() + b" " * 70_000_000, mtime=0), "larger than"),
    ],
)  # fmt: skip
def test_a_bad_file_is_refused_in_words(data, words):
    with pytest.raises(ArtworkError) as caught:
        read_svg(data.encode() if isinstance(data, str) else data, name="f.svg")
    assert words in str(caught.value)
    assert str(caught.value).startswith("f.svg")
    assert "\n" not in str(caught.value)


def test_uses_that_unfold_without_end_are_refused(monkeypatch):
    monkeypatch.setattr("stonelayout.svg.traversal.MOST_VISITS", 500)
    with pytest.raises(ArtworkError, match="unfolds to over 500"):
        read_svg((HEAD + nested_uses(9, 9) + END).encode())


def test_a_tangle_is_refused():
    source = random.Random(1)  # noqa: S311  # a seeded test
    points = " ".join(f"{source.random() * 99:.2f},{source.random() * 49:.2f}" for _ in range(4000))
    with pytest.raises(ArtworkError, match="crosses itself"):
        read_svg((HEAD + f'<path d="M{points}"/>' + END).encode())


def test_cycles_are_named_and_the_rest_is_read():
    body = (
        '<g id="a"><use href="#b"/></g><g id="b"><use href="#a"/></g><rect width="5" height="5"/>'
    )
    art = read_svg((HEAD + body + END).encode())
    assert len(art.shapes) == 1
    assert all("refers to itself" in entry.reason for entry in art.skipped)
    assert art.skipped


def test_outside_entities_are_not_read(tmp_path):
    secret = tmp_path / "secret.txt"
    secret.write_text('<rect width="7" height="7"/>')
    data = f'<!DOCTYPE svg [<!ENTITY x SYSTEM "{secret.as_uri()}">]>{HEAD}{RECT}&x;{END}'
    assert len(read_svg(data.encode()).shapes) == 1


def test_inner_entities_are_read():
    data = f'<!DOCTYPE svg [<!ENTITY w "5">]>{HEAD}<rect width="&w;" height="5"/>{END}'
    assert read_svg(data.encode()).shapes[0].bounds == pytest.approx((0, 0, 5, 5))


NUMBERS = (
    "0", "-0", "1", "-1", "0.5", "1e-9", "-1e9", "1e9", "1e30", "1e400", "NaN", "1e", ".", "%",
    "50%", "3em", "1e-320", "99999999999999999999",
)  # fmt: skip
VALUES = (
    "", "none", "inherit", "currentColor", "url(#c)", "url(#p)", "url(#nothing)", "#p", "#a", "#z",
    "red", "rgb(1,2", "evenodd", "round", "square", "bevel", "hidden", "visible", "context-fill",
    "objectBoundingBox", "M0 0", "M0 0A1 1 0 11 0 0", "M0,0zzL1 1", "rotate(1e9)", "skewX(90)",
    "scale(0)", "scale(-1 1e-7)", "matrix(1 0 0 0 0 0)", "translate(1e7)", "0 0 0 0", "0 0 -1 5",
    "xMidYMax slice", "0 0", "1 0 1e-4", "fill:red;stroke:", "stroke-dasharray:0 0;fill:none",
)  # fmt: skip
NAMES = (
    "fill", "stroke", "stroke-width", "stroke-dasharray", "stroke-linecap", "stroke-linejoin",
    "stroke-miterlimit", "fill-rule", "clip-path", "clip-rule", "clipPathUnits", "transform",
    "transform-origin", "viewBox", "preserveAspectRatio", "width", "height", "x", "y", "r", "rx",
    "ry", "cx", "cy", "d", "points", "href", "xlink:href", "class", "id", "style", "display",
    "visibility", "opacity", "font-size", "vector-effect", "overflow", "stroke-dashoffset",
)  # fmt: skip
TAGS = (
    "g", "svg", "symbol", "use", "switch", "clipPath", "defs", "path", "rect", "circle", "ellipse",
    "line", "polyline", "polygon", "text", "style", "mask", "marker", "a", "linearGradient",
)  # fmt: skip
NUMBER = re.compile(r"[-+]?(?:\d+\.?\d*|\.\d+)(?:e[-+]?\d+)?")


def with_number(source, text):
    """Put another number in the place of one."""
    found = list(NUMBER.finditer(text))
    if not found:
        return source.choice(VALUES)
    at = source.choice(found)
    number = source.choice((*NUMBERS, f"{source.uniform(-60, 60):.2f}"))
    return text[: at.start()] + number + text[at.end() :]


def with_command(source, text):
    """Break path data somewhere."""
    cut = source.randint(0, len(text))
    extra = source.choice(("z", "M", "a1 1 0 01", "H", "S5 5", ",,", "T9 9", "-", "m0 0"))
    return text[:cut] + extra + text[cut:]


def reshaped(source):
    """Change what attributes say and how elements stand: it stays well-formed XML."""
    root = ElementTree.fromstring(HEAD + SEED + END)  # noqa: S314  # our own text
    for _ in range(source.randint(1, 8)):
        nodes = list(root.iter())
        node = source.choice(nodes)
        parent = source.choice([node for node in nodes if len(node)] or [root])
        how = source.randrange(8)
        if how < 3 and node.attrib:
            name = source.choice(sorted(node.attrib))
            node.set(name, with_number(source, node.attrib[name]))
        elif how == 3:
            node.set(source.choice(NAMES), source.choice((*VALUES, *NUMBERS)))
        elif how == 4:
            node.set("d", with_command(source, node.attrib.get("d", "M1 1L5 9 8 2")))
        elif how == 5 and node is not root:
            node.tag = f"{{http://www.w3.org/2000/svg}}{source.choice(TAGS)}"
        elif how == 6 and len(nodes) < 200:
            parent.insert(source.randint(0, len(parent)), copy.deepcopy(node))
        elif how == 7 and len(parent):
            parent.remove(source.choice(list(parent)))
    return ElementTree.tostring(root)


def mutated(source):
    if source.random() < 0.8:
        return reshaped(source)
    data = bytearray((HEAD + SEED + END).encode())
    for _ in range(source.randint(1, 6)):
        at = source.randrange(len(data))
        how = source.randrange(4)
        if how == 0:
            data[at] = source.randrange(32, 127)
        elif how == 1:
            del data[at : at + source.randint(1, 9)]
        elif how == 2:
            data[at:at] = source.choice([b"e9", b"-", b"1e400", b"<", b'"', b"0", b"NaN", b"%"])
        else:
            piece = data[at : at + 30]
            to = source.randrange(len(data))
            data[to:to] = piece
    return bytes(data)


@pytest.mark.parametrize("seed", range(4))
def test_mutated_files_are_read_or_refused(seed):
    source = random.Random(seed)  # noqa: S311  # a seeded test
    for _ in range(150):
        data = mutated(source)
        try:
            read_svg(data)
        except StoneLayoutError:
            continue


@pytest.mark.parametrize(
    ("styles", "body"),
    [
        ("p " + "g " * 20 + "rect{fill:red}", "<g>" * 24 + RECT * 30 + "</g>" * 24),
        ("*{fill:red}" * 2000, RECT * 300),
        ("p~rect{fill:red}", RECT * 3000),
        ("rect:nth-of-type(3n){fill:red}", RECT * 6000),
    ],
)
def test_selectors_that_take_years_are_refused(styles, body, monkeypatch):
    monkeypatch.setattr("stonelayout.svg.selectors.MOST_STEPS", 100_000)
    with pytest.raises(ArtworkError, match="style sheet takes too long"):
        read_svg((HEAD + f"<style>{styles}</style>" + body + END).encode())


def test_sibling_selectors_reach_over_thousands_of_siblings():
    body = RECT.replace("<rect", '<rect class="first"') + RECT * 1500
    art = read_svg((HEAD + "<style>.first~rect{fill:red}</style>" + body + END).encode())
    assert [shape.fill for shape in art.shapes[:2]] == ["#000000", "#ff0000"]
    assert art.shapes[-1].fill == "#ff0000"


@pytest.mark.parametrize(
    ("selector", "reached", "steps"),
    [
        ("rect:nth-child(3n)", 667, 100_000),
        ("rect:first-of-type", 1, 100_000),
        ("rect:last-of-type", 1, 200_000),
        ("rect:only-of-type", 0, 100_000),
        ("rect:nth-of-type(3n)", 666, 1_200_000),
        ("circle~rect", 2000, 1_200_000),
    ],
)
def test_places_among_thousands_of_siblings_cost_little(selector, reached, steps, monkeypatch):
    """Selectors Level 4, "Tree-Structural pseudo-classes"; a circle, then 2,000 rectangles."""
    monkeypatch.setattr("stonelayout.svg.selectors.MOST_STEPS", steps)
    body = '<circle r="5" cx="9" cy="9"/>' + RECT * 2000
    style = f"<style>{selector}{{fill:red}}</style>"
    art = read_svg((HEAD + style + body + END).encode())
    assert sum(shape.fill == "#ff0000" for shape in art.shapes) == reached


def test_large_style_sheets_are_refused_but_not_for_their_fonts(monkeypatch):
    monkeypatch.setattr("stonelayout.svg.cascade.MOST_STYLES", 1000)
    font = f"@font-face{{src:url(data:font;base64,{'A' * 5000})}}"
    assert read_svg((HEAD + f"<style>{font}</style>" + RECT + END).encode()).shapes
    with pytest.raises(ArtworkError, match="style sheets of over"):
        read_svg((HEAD + f"<style>{'.k{fill:red}' * 100}</style>" + RECT + END).encode())


@pytest.mark.parametrize("turn", ["rotate(1e400)", "scale(1e400)", "skewX(-1e999)"])
def test_a_transform_beyond_numbers_is_left_out_and_said(turn):
    art = read_svg((HEAD + f'<g transform="{turn}">{RECT}</g>' + RECT + END).encode())
    assert len(art.shapes) == 2
    assert any(turn in note and "left out" in note for note in art.notes)


def test_a_pen_wider_than_the_world_is_refused():
    pen = '<path d="M1 1L9 9" stroke="red" stroke-width="1e30" stroke-linecap="round"/>'
    with pytest.raises(ArtworkError, match="a stroke wider than 1000 m"):
        read_svg((HEAD + pen + END).encode())


def test_a_clip_path_scaled_to_nothing_clips_all():
    clip = f'<clipPath id="c" transform="scale(0)">{RECT}</clipPath>'
    art = read_svg(
        (HEAD + clip + RECT.replace("/>", ' clip-path="url(#c)"/>') + RECT + END).encode()
    )
    assert len(art.shapes) == 1


def test_boxes_within_boxes_are_bounded(monkeypatch):
    monkeypatch.setattr("stonelayout.svg.boxes.MOST_BOXED", 2000)
    body = '<g style="clip-path:circle(40%)">' * 20 + '<rect width="9" height="9"/>' * 100
    with pytest.raises(ArtworkError, match="boxes of over"):
        read_svg((HEAD + body + "</g>" * 20 + "</svg>").encode())


@pytest.mark.filterwarnings("error")
@pytest.mark.parametrize("box", ["0 0 1e-320 1e-320", "0 0 1e300 1e300", "1e200 0 10 10"])
def test_a_view_box_beyond_all_measure_is_passed_over(box):
    head = f'<svg xmlns="http://www.w3.org/2000/svg" width="100mm" height="50mm" viewBox="{box}">'
    body = '<g transform="rotate(30)"/><rect width="40" height="30" transform="scale(2)"/></svg>'
    art = read_svg((head + body).encode())
    assert any("viewBox" in note for note in art.notes)
    assert art.size == (100, 50)
