"""Opening faces by name, and splitting a line between a face and its fallback."""

from __future__ import annotations

from pathlib import Path

from stonelayout.errors import InputError

from .face import Face, clusters, code_points
from .font_files import find_font
from .outline_face import outline_face
from .single_line_face import FACES, single_line_face


def open_face(name: str, folder: Path) -> Face:
    """Return a face: single-line (``plain``, ``script``), a font file, or an installed font.

    Raises InputError when there is none, MissingExtraError without the extra ``letters``.
    """
    if name.lower() in FACES:
        return single_line_face(name.lower())
    return outline_face(find_font(name, folder).resolve())


def parts(line: str, face: Face, fallback: Face | None) -> list[tuple[Face, str]]:
    """Split a line into stretches that one face draws. Raises InputError naming what none has."""
    lacking = set(face.lacks(line))
    if not lacking:
        return [(face, line)]
    if fallback is None:
        raise InputError(_missing(face, sorted(lacking)) + "; name a fallback face that has it")
    nowhere = fallback.lacks("".join(sorted(lacking)))
    if nowhere:
        raise InputError(f"{_missing(face, nowhere)}, and the fallback {fallback.name} neither")
    found: list[tuple[Face, str]] = []
    for cluster in clusters(line):
        use = fallback if cluster in lacking else face
        if found and (found[-1][0] is use or cluster.isspace()):
            found[-1] = (found[-1][0], found[-1][1] + cluster)
        else:
            found.append((use, cluster))
    return found


def _missing(face: Face, lacking: list[str]) -> str:
    shown = ", ".join(code_points(cluster) for cluster in lacking[:5])
    more = f" and {len(lacking) - 5} more" if len(lacking) > 5 else ""
    return f"the face {face.name} has no {shown}{more}"
