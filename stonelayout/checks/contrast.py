"""Contrast of stones with the sheet: stones upside down and empty holes must be seen on it."""

from __future__ import annotations

from collections.abc import Sequence

from stonelayout.findings import Finding
from stonelayout.model.catalogue import Catalogue, Sheet
from stonelayout.model.layer import Layer
from stonelayout.template.layers_from_holes import NO_COLOUR

#: Backs of hot-fix stones, the glue side, are dark grey (common practice, no source).
BACK = "#4a4a4d"
#: Least contrast ratio at which a shape is told from its background: WCAG 2.1, criterion 1.4.11.
LEAST_CONTRAST = 3.0


def luminance(rgb: str) -> float:
    """Return the relative luminance, 0 to 1, of ``#rrggbb`` (WCAG 2.1, relative luminance)."""
    parts = [int(rgb[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(first: str, second: str) -> float:
    """Return the contrast ratio, 1 to 21, of two colours (WCAG 2.1, contrast ratio)."""
    low, high = sorted((luminance(first), luminance(second)))
    return (high + 0.05) / (low + 0.05)


def check_contrast(
    layers: Sequence[Layer], sheet: Sheet, catalogue: Catalogue
) -> tuple[Finding, ...]:
    """Return notes where stones, facing up or down, are hard to see on the sheet.

    Codes: ``backs-hard-to-see`` (once: the backs are alike for all stones),
    ``stones-hard-to-see`` and ``colour-not-known`` (by layer).
    """
    ground = catalogue.rgb(sheet.colour)
    found = []
    ratio = contrast(BACK, ground)
    if layers and ratio < LEAST_CONTRAST:
        words = (
            f"stone backs are dark grey, hard to see on a {sheet.colour} sheet (contrast "
            f"{ratio:.2f}, {LEAST_CONTRAST:.0f} wanted): look for upside-down stones against the "
            "light before you lift, or use a light sheet"
        )
        found.append(Finding("backs-hard-to-see", "note", words))
    for layer in layers:
        face = catalogue.colours.get(layer.kind.colour)
        if face is None and layer.kind.colour != NO_COLOUR:
            words = (
                f"the catalogue has no colour {layer.kind.colour}: its stones are drawn grey on "
                "proof and job sheet"
            )
            found.append(Finding("colour-not-known", "note", words, layer=layer.name))
        if face is None or contrast(face, ground) >= LEAST_CONTRAST:
            continue
        words = (
            f"{layer.kind.colour} stones are hard to see on a {sheet.colour} sheet (contrast "
            f"{contrast(face, ground):.2f}): check for empty holes twice"
        )
        found.append(Finding("stones-hard-to-see", "note", words, layer=layer.name))
    return tuple(found)
