"""PDF at true size: one page, hairlines, each group an optional-content layer. No dates."""

from __future__ import annotations

from stonelayout.model.layer import Layer, Page, Registration
from stonelayout.units import number

POINTS_PER_MM = 72 / 25.4
#: Control points of four Bezier curves that come within 0.027 % of a circle.
KAPPA = 0.5522847498307936
HAIRLINE_MM = 0.05


def layer_pdf(layer: Layer, registration: Registration) -> bytes:
    """Return the layer as a PDF (1.5) whose page is the layer's page, one unit 1/72 in.

    The content is written in mm under a matrix that scales and flips it. Circles are four Bezier
    curves each, in the layer's order.
    """
    page = registration.page
    width, height = (side * POINTS_PER_MM for side in page.size)
    scale = number(POINTS_PER_MM, 9)
    body = [f"{scale} 0 0 -{scale} 0 {number(height, 4)} cm", f"{number(HAIRLINE_MM)} w 1 J"]
    body += ["/OC /Marks BDC", "0 0 1 RG" if registration.drawn else "0 0 0 RG"]
    for mark in registration.marks:
        for line in mark.lines:
            first, *rest = page.place(line).tolist()
            body.append(f"{_at(*first)} m " + " ".join(f"{_at(*p)} l" for p in rest) + " S")
    body.append("0 0 0 RG")
    radius = page.diameter(registration.pin) / 2
    body += [_circle(x, y, radius) for x, y in page.place(registration.pins).tolist()]
    body += ["EMC", "/OC /Holes BDC"]
    radius = page.diameter(layer.hole) / 2
    body += [_circle(x, y, radius) for x, y in page.place(layer.centres).tolist()]
    body.append("EMC")
    if registration.outline:
        body.append(f"0 0 {number(page.size[0])} {number(page.size[1])} re S")
    content = "\n".join(body).encode("ascii")
    groups = (
        "/OCProperties << /OCGs [5 0 R 6 0 R] /D << /Order [5 0 R 6 0 R] /ON [5 0 R 6 0 R] >> >>"
    )
    box = f"[0 0 {number(width, 4)} {number(height, 4)}]"
    objects = [
        f"<< /Type /Catalog /Pages 2 0 R {groups} >>".encode(),
        b"<< /Type /Pages /Kids [3 0 R] /Count 1 >>",
        (
            f"<< /Type /Page /Parent 2 0 R /MediaBox {box} /Contents 4 0 R /Resources "
            "<< /Properties << /Marks 5 0 R /Holes 6 0 R >> >> >>"
        ).encode(),
        b"<< /Length %d >>\nstream\n%b\nendstream" % (len(content), content),
        b"<< /Type /OCG /Name (registration) >>",
        f"<< /Type /OCG /Name ({layer.name}) >>".encode("ascii"),
        f"<< /Title ({layer.name}){_subject(page)} >>".encode("ascii"),
    ]
    return _file(objects)


def _subject(page: Page) -> str:
    """Return the Info entry that says what was done to the places; brackets are escaped."""
    words = page.worked_on.replace("(", "\\(").replace(")", "\\)")
    return f" /Subject ({words})" if words else ""


def _file(objects: list[bytes]) -> bytes:
    """Put numbered objects, the cross-reference table and the trailer together."""
    out = bytearray(b"%PDF-1.5\n%\xe2\xe3\xcf\xd3\n")
    places = []
    for index, content in enumerate(objects, start=1):
        places.append(len(out))
        out += b"%d 0 obj\n%b\nendobj\n" % (index, content)
    table = len(out)
    out += b"xref\n0 %d\n0000000000 65535 f \n" % (len(objects) + 1)
    out += b"".join(b"%010d 00000 n \n" % place for place in places)
    out += b"trailer\n<< /Size %d /Root 1 0 R /Info 7 0 R >>\n" % (len(objects) + 1)
    out += b"startxref\n%d\n%%%%EOF\n" % table
    return bytes(out)


def _circle(x: float, y: float, r: float) -> str:
    k = r * KAPPA
    return (
        f"{_at(x + r, y)} m {_at(x + r, y + k)} {_at(x + k, y + r)} {_at(x, y + r)} c "
        f"{_at(x - k, y + r)} {_at(x - r, y + k)} {_at(x - r, y)} c "
        f"{_at(x - r, y - k)} {_at(x - k, y - r)} {_at(x, y - r)} c "
        f"{_at(x + k, y - r)} {_at(x + r, y - k)} {_at(x + r, y)} c s"
    )


def _at(x: float, y: float) -> str:
    return f"{number(x, 4)} {number(y, 4)}"
