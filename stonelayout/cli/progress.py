"""Which shape is being laid, on standard error: only on a terminal, and gone when it is done."""

from __future__ import annotations

import sys

import click


class LayingProgress:
    """Shows each shape while it is laid."""

    def __init__(self) -> None:
        self.shown = sys.stderr.isatty()
        self.width = 0

    def __call__(self, done: int, total: int, name: str) -> None:
        """Show the shape that is laid next; clear the line when ``done`` is ``total``."""
        if not self.shown:
            return
        line = f"laying {done + 1}/{total}  {name:.40}" if done < total else ""
        click.echo(f"\r{line.ljust(self.width)}" + ("" if line else "\r"), nl=False, err=True)
        self.width = len(line)
