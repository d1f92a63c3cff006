"""What is being done, on standard error: only on a terminal."""

from __future__ import annotations

import sys
import time

import click

#: Seconds between two lines of progress of a names list.
PROGRESS_SECONDS = 0.5


class LayingProgress:
    """Shows each shape while it is laid, and nothing when it is done."""

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


class NamesProgress:
    """Names done and time left, on standard error, only on a terminal."""

    def __init__(self) -> None:
        self.start = self.last = time.monotonic()
        self.shown = False

    def __call__(self, done: int, total: int, label: str) -> None:
        """Show how many of all are done, the last with this label."""
        now = time.monotonic()
        self.shown = sys.stderr.isatty() and total > 1
        if self.shown and (now - self.last > PROGRESS_SECONDS or done == total):
            self.last = now
            left = round((now - self.start) / done * (total - done))
            line = f"{done}/{total}  {label:24.24}  {left // 60}:{left % 60:02d} left"
            click.echo(f"\r{line}", nl=False, err=True)

    def end(self) -> None:
        """Leave the line."""
        if self.shown:
            click.echo("", err=True)
