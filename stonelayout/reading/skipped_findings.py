"""What was not read of a drawing, as findings: a paper must not say less than the terminal."""

from __future__ import annotations

from stonelayout.findings import Finding
from stonelayout.model.artwork import Artwork, Skipped
from stonelayout.svg.unsupported import DRAWS_NOTHING
from stonelayout.units import counted


def unread(artwork: Artwork) -> tuple[Finding, ...]:
    """Return a finding for each entry that was not read or not as drawn, and for each note.

    Codes: ``not-read`` (warning), ``draws-nothing`` (note: hidden in the file, or without paint),
    ``about-the-drawing`` (note).
    """
    found = [_finding(entry) for entry in artwork.skipped]
    return (*found, *(Finding("about-the-drawing", "note", words) for words in artwork.notes))


def _finding(entry: Skipped) -> Finding:
    times = f"{counted(entry.count, 'element')}, " if entry.count > 1 else ""
    name = f' "{entry.id}"' if entry.id else ""
    layer = f" in layer {entry.layer}" if entry.layer else ""
    line = f" (line {entry.line})" if entry.line else ""
    words = f"{times}{entry.what}{name}{layer}{line}: {entry.reason}"
    if entry.reason in DRAWS_NOTHING:
        return Finding("draws-nothing", "note", f"gets no stones: {words}", count=entry.count)
    how = "not as drawn" if entry.drawn else "not read, so it gets no stones"
    return Finding("not-read", "warning", f"{how}: {words}", count=entry.count)
