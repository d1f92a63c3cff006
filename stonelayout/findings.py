"""A finding: one result of a check or of laying, with what to do about it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Literal

Severity = Literal["error", "warning", "note"]
_ORDER: dict[str, int] = {"error": 0, "warning": 1, "note": 2}


@dataclass(frozen=True)
class Finding:
    """One result of a check.

    ``code`` is stable and hyphenated (``web-too-thin``); ``message`` says in plain words what is
    wrong, by how much and what to do; ``at`` is a place (x, y) in mm of the artwork's frame, or
    None; ``layer`` names the layer or shape concerned ("" when it is the whole job); ``count`` is
    how many stones or places it stands for.
    """

    code: str
    severity: Severity
    message: str
    at: tuple[float, float] | None = None
    layer: str = ""
    count: int = 1

    def as_dict(self) -> dict[str, Any]:
        """Return the finding as it stands in reports."""
        at = None if self.at is None else [round(self.at[0], 3), round(self.at[1], 3)]
        return {
            "code": self.code,
            "severity": self.severity,
            "message": self.message,
            "at": at,
            "layer": self.layer,
            "count": self.count,
        }


def in_order(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """Sort findings: errors first, then by code and layer; within these as given, worst first."""
    return tuple(sorted(findings, key=lambda f: (_ORDER[f.severity], f.code, f.layer)))


def has_errors(findings: Iterable[Finding]) -> bool:
    """Tell whether any finding has severity error."""
    return any(finding.severity == "error" for finding in findings)
