"""What the commands print and write: results on standard output, words on standard error."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

import click

from stonelayout.files import STDIN, write_one

if TYPE_CHECKING:
    from stonelayout.file_sets import Written
    from stonelayout.findings import Finding


def write_result(path: str | None, content: str | bytes) -> None:
    """Write to a file whole or not at all; None or ``-`` is standard output."""
    if path is None or path == STDIN:
        data = content.encode("utf-8") if isinstance(content, str) else content
        sys.stdout.buffer.write(data)
        sys.stdout.flush()
    else:
        write_one(path, content)


def tell_by_hand(written: Written) -> None:
    """Tell which files of a former set had been changed by hand."""
    for name in written.replaced:
        say(f"note: {name} had been changed since it was written, and was replaced")
    for name in written.kept:
        say(f"note: {name} is of an earlier run, and was left: delete it if it is not wanted")


def print_json(data: Any) -> None:
    """Print data as JSON on standard output."""
    click.echo(json.dumps(data, ensure_ascii=False, indent=2))


def say(message: str) -> None:
    """Print words for people on standard error."""
    click.echo(message, err=True)


SEVERITY_COLOURS = {"error": "red", "warning": "yellow", "note": "cyan"}


def finding_lines(findings: Iterable[Finding], most: int = 20) -> list[str]:
    """Return findings as lines for the terminal, the most serious first, like ones together."""
    from stonelayout.findings import grouped

    lines = []
    for group in grouped(findings):
        severity = group.first.severity
        worst, more = group.words()
        line = (
            f"{click.style(severity, fg=SEVERITY_COLOURS[severity])}: {worst} [{group.first.code}]"
        )
        lines.append(f"{line} {more}" if more else line)
    if len(lines) > most:
        lines[most:] = [f"... and {len(lines) - most} more (--format json has all)"]
    return lines


def exit_code(findings: Iterable[Finding]) -> int:
    """Return 1 when any finding has severity error, else 0."""
    from stonelayout.findings import has_errors

    return int(has_errors(findings))
