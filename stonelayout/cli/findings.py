"""``stonelayout findings``: what each finding means, and what to do about it."""

from __future__ import annotations

import shutil
import textwrap
from typing import Any

import click

from stonelayout.errors import InputError
from stonelayout.finding_codes import CODES_BY_STEP, FINDING_CODES, FindingCode
from stonelayout.spelling import unknown

from .options import format_option
from .output import SEVERITY_COLOURS, print_json

#: Lines are no longer than this, however wide the terminal is: longer ones are hard to read.
LONGEST_LINE = 100
SEVERITIES = {
    "error": "do not cut before it is mended; exit code 1",
    "warning": "look at it before you go on",
    "note": "good to know",
}
_CODE_WIDTH = max(map(len, FINDING_CODES)) + 2
_SEVERITY_WIDTH = max(map(len, SEVERITIES)) + 2


@click.command("findings")
@click.argument("codes", nargs=-1, metavar="[CODE]...")
@format_option
def command(codes: tuple[str, ...], form: str) -> None:
    """List every finding by its code; with CODE, say what to do about it.

    \b
    stonelayout findings
    stonelayout findings web-too-thin
    """
    named = {code.strip("[]").lower() for code in codes}
    wrong = [name for name in sorted(named) if name not in FINDING_CODES]
    if wrong:
        raise InputError("\n".join(unknown(name, FINDING_CODES, "finding") for name in wrong))
    found = [
        (step, code)
        for step, known in CODES_BY_STEP.items()
        for code in known
        if not named or code.name in named
    ]
    width = min(shutil.get_terminal_size().columns, LONGEST_LINE)
    if form == "json":
        print_json({"version": 1, "findings": [_entry(step, code) for step, code in found]})
    elif named:
        click.echo("\n\n".join(_explained(step, code, width) for step, code in found))
    else:
        click.echo(_table(width))


def _entry(step: str, code: FindingCode) -> dict[str, Any]:
    return {
        "code": code.name,
        "severities": list(code.severities),
        "step": step,
        "meaning": code.meaning,
        "remedy": code.remedy,
    }


def _explained(step: str, code: FindingCode, width: int) -> str:
    """Return one code with all that is known of it."""
    severities = " or ".join(f"{_coloured(name)} ({SEVERITIES[name]})" for name in code.severities)
    lines = (
        _wrapped(f"  What it means: {code.meaning}", width),
        _wrapped(f"  What to do: {code.remedy}", width),
        _wrapped(f"  Found when: {step[:1].lower()}{step[1:]}", width),
    )
    return "\n".join((f"{click.style(code.name, bold=True)}: {severities}", *lines))


def _wrapped(words: str, width: int) -> str:
    return textwrap.fill(words, width, subsequent_indent="    ", break_on_hyphens=False)


def _table(width: int) -> str:
    """Return all codes by the step of the work: code, severity, meaning."""
    lines = []
    for step, known in CODES_BY_STEP.items():
        lines.append(click.style(step, bold=True))
        for code in known:
            lines += _row(code, width)
        lines.append("")
    lines += [f"{_coloured(name)}: {words}" for name, words in SEVERITIES.items()]
    lines.append("what to do about one: stonelayout findings CODE")
    return "\n".join(lines)


def _row(code: FindingCode, width: int) -> list[str]:
    column = 2 + _CODE_WIDTH + _SEVERITY_WIDTH
    words = textwrap.wrap(code.meaning, max(width - column, 20), break_on_hyphens=False)
    rows = max(len(words), len(code.severities))
    names = [code.name, *[""] * (rows - 1)]
    severities = [*code.severities, *[""] * (rows - len(code.severities))]
    words += [""] * (rows - len(words))
    return [
        f"  {name:{_CODE_WIDTH}}{_coloured(severity, _SEVERITY_WIDTH)}{line}".rstrip()
        for name, severity, line in zip(names, severities, words, strict=True)
    ]


def _coloured(severity: str, width: int = 0) -> str:
    return click.style(f"{severity:{width}}", fg=SEVERITY_COLOURS.get(severity))
