"""The command line. Each command is a module of its own, imported only when it is called."""

from __future__ import annotations

import difflib
import importlib
import sys
from typing import NoReturn

import click

from stonelayout import __version__
from stonelayout.errors import StoneLayoutError, VerificationError

#: Command name -> one-line summary, in the order of the work; the module has the same name.
COMMANDS = {
    "inspect": "Show what a drawing holds: size, shapes, widths, and what was not read.",
    "letters": "Set words as a drawing, with the least height and the pattern for your stones.",
    "make": "Do the whole job: lay, check, cut files, proof and report.",
    "lay": "Lay stones on a drawing and write layout.json.",
    "check": "Check a layout or any SVG of holes before cutting.",
    "cut": "Write the cut files of a layout: SVG, DXF, HP-GL, PDF.",
    "proof": "Draw the proof: the picture that a customer approves.",
    "jobsheet": "Write the page that goes to the bench.",
    "roll": "Place all templates of an order on the roll, and write a cut file for each panel.",
    "stock": "Count an order's stones, set them against your stock, and say what to buy.",
    "quote": "Quote an order: cost line by line, price, margin, minutes.",
    "coupon": "Cut a small test piece, and learn from it what a sheet really stands.",
    "findings": "List what can be found wrong or worth knowing, and say what to do about it.",
    "stones": "List the stone sizes, in mm and inches.",
    "sheets": "List the template sheets and what they stand.",
}
EXIT_BAD_INPUT = 2
EXIT_BUG = 3


class LazyGroup(click.Group):
    """A group that knows its commands from a table and imports one only to run it."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return all command names in the order of the work."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import the command's module."""
        if cmd_name not in COMMANDS:
            return None
        module = importlib.import_module(f"stonelayout.cli.{cmd_name}")
        command: click.Command = module.command
        return command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Offer the nearest command names when one is misspelled."""
        name = args[0] if args else ""
        if name not in COMMANDS and not name.startswith("-"):
            near = difflib.get_close_matches(name, COMMANDS, n=2, cutoff=0.5)
            hint = f" Did you mean {' or '.join(near)}?" if near else ""
            raise click.UsageError(f'There is no command "{name}".{hint}', ctx)
        found, command, rest = super().resolve_command(ctx, args)
        if command is not None:
            _given_once(command, click.Context(command, ctx, found), rest)
        return found, command, rest

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the table of commands without importing any."""
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))


def _given_once(command: click.Command, ctx: click.Context, args: list[str]) -> None:
    """Refuse an option of one value that is given twice, of which click would take the last."""
    try:
        given = command.make_parser(ctx).parse_args(list(args))[2]
    except click.UsageError:
        return  # the command itself tells it
    for option in given:
        once = isinstance(option, click.Option) and not option.multiple and not option.is_flag
        if once and given.count(option) > 1:
            raise click.UsageError(f"{option.opts[0]} is given twice: give it once", ctx)


@click.group(
    cls=LazyGroup,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
    epilog="Start with: stonelayout inspect ARTWORK.svg. Exit codes: 0 done and clean, 1 done with "
    "findings of severity error, 2 bad input, 3 a bug of ours.",
)
@click.version_option(__version__)
def group() -> None:
    """Lay hot-fix stones on artwork, and make the templates that place them."""


def main(args: list[str] | None = None) -> NoReturn:
    """Run the command line and exit: 0 clean, 1 errors found, 2 bad input, 3 our own bug."""
    try:
        code = group.main(args, prog_name="stonelayout", standalone_mode=False)
    except click.ClickException as error:
        if isinstance(error, click.UsageError) and error.ctx is not None:
            click.echo(
                f"{error.ctx.get_usage()}\nhelp: {error.ctx.command_path} --help\n", err=True
            )
        _complain(error.format_message())
        sys.exit(EXIT_BAD_INPUT)
    except click.Abort:
        click.echo("stopped; nothing was left half-written", err=True)
        sys.exit(130)
    except VerificationError as error:
        _complain(str(error))
        sys.exit(EXIT_BUG)
    except StoneLayoutError as error:
        _complain(str(error))
        sys.exit(EXIT_BAD_INPUT)
    except BrokenPipeError:
        sys.stderr.close()
        sys.exit(0)
    except Exception as error:
        import traceback

        traceback.print_exc()
        _complain(f"this is a bug in stonelayout ({type(error).__name__}); nothing was changed")
        sys.exit(EXIT_BUG)
    sys.exit(code if isinstance(code, int) else 0)


def _complain(message: str) -> None:
    for line in message.splitlines():
        click.echo(f"error: {line}", err=True)
