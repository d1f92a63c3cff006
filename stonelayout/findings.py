"""A finding: one result of a check or of laying, and how findings are sorted and grouped."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from .errors import InputError
from .finding_codes import FINDING_CODES, Severity
from .spelling import unknown
from .units import counted

_ORDER: dict[str, int] = {"error": 0, "warning": 1, "note": 2}


@dataclass(frozen=True)
class Finding:
    """One result of a check.

    ``code`` is one of ``finding_codes.FINDING_CODES`` (``web-too-thin``), with one of that code's
    severities: InputError for any other. ``message`` says in plain words what is
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

    def __post_init__(self) -> None:
        code = FINDING_CODES.get(self.code)
        if code is None:
            raise InputError(unknown(self.code, FINDING_CODES, "finding"))
        if self.severity not in code.severities:
            known = " or ".join(code.severities)
            raise InputError(f'finding "{self.code}" is of severity {known}, not {self.severity}')

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


@dataclass(frozen=True)
class FindingGroup:
    """Findings of one code and severity on one layer, the worst first, reported together."""

    findings: tuple[Finding, ...]

    @property
    def first(self) -> Finding:
        """The worst."""
        return self.findings[0]

    @property
    def total(self) -> int:
        """How many there are, with those that the last one only counts."""
        return 1 + sum(1 if f.at is not None else f.count for f in self.findings[1:])

    def words(self, places: int = 4) -> tuple[str, str]:
        """Return the worst in words with its place, and how many more there are and where."""
        first, more = self.first, self.total - 1
        where = " ".join([*([first.layer] if first.layer else []), *_at(first)])
        worst = f"{where}: {first.message}" if where else first.message
        if not more:
            return worst, ""
        named = [_place(f.at) for f in self.findings[1:] if f.at is not None][:places]
        spots = f": {'; '.join(named)}{' ...' if more > len(named) else ''}" if named else ""
        return worst, f"(and {more} more{spots})"


def grouped(findings: Iterable[Finding]) -> list[FindingGroup]:
    """Put like findings together, the most serious first; without a place only the same words."""
    groups: dict[tuple[str, ...], list[Finding]] = {}
    for finding in in_order(findings):
        key: tuple[str, ...] = (finding.severity, finding.code, finding.layer)
        if finding.at is None and key not in groups:
            key += (finding.message,)
        groups.setdefault(key, []).append(finding)
    return [FindingGroup(tuple(group)) for group in groups.values()]


def tally(findings: Iterable[Finding]) -> str:
    """Return how many errors and warnings there are: ``3 errors, 1 warning``; "" for none."""
    totals = {"error": 0, "warning": 0}
    for group in grouped(findings):
        if group.first.severity in totals:
            totals[group.first.severity] += group.total
    return ", ".join(counted(total, name) for name, total in totals.items() if total)


def _at(finding: Finding) -> list[str]:
    return [] if finding.at is None else [f"at {_place(finding.at)} mm"]


def _place(at: tuple[float, float]) -> str:
    return f"{at[0]:.1f}, {at[1]:.1f}"
