"""``stonelayout lay``: lay stones on a drawing without a job file."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from stonelayout.errors import InputError
from stonelayout.model.catalogue import DEFAULT_SHEET
from stonelayout.model.pattern_options import PATTERNS, STROKES, strokes_value
from stonelayout.units import counted, mm, mm_and_inches

from .options import (
    FINDINGS_HELP,
    LENGTH,
    SIZE_FLAG,
    artwork_options,
    catalogue_option,
    listed,
    read_artwork,
    sheet_option,
)
from .output import exit_code, finding_lines, say, write_result
from .progress import LayingProgress

if TYPE_CHECKING:
    from stonelayout.model.catalogue import Sheet
    from stonelayout.model.layout import Layout


@click.command("lay", epilog=FINDINGS_HELP)
@click.argument("artwork")
@click.option(
    "--stone",
    "names",
    multiple=True,
    required=True,
    metavar="SIZE",
    help="Stone size, e.g. ss10; several for patterns that take them: ss6,ss10.",
)
@click.option("--colour", default="crystal", show_default=True, help="Colour, a plain word.")
@click.option(
    "--pattern",
    type=click.Choice(list(PATTERNS)),
    default="courses",
    show_default=True,
    help="How the stones are laid.",
)
@click.option("--pitch", type=LENGTH, help="Centre to centre, e.g. 3.8mm.")
@click.option("--gap", type=LENGTH, help="Stone edge to stone edge.")
@click.option("--web", type=LENGTH, help="Hole edge to hole edge.")
@click.option(
    "--set",
    "settings",
    multiple=True,
    metavar="NAME=VALUE",
    help="An option of the pattern, e.g. --set margin=0.5mm (see README, Patterns).",
)
@click.option(
    "--strokes",
    type=click.Choice(STROKES),
    help="Lay on strokes as the lines they are drawn on, or as the areas that they cover.",
)
@artwork_options
@sheet_option
@catalogue_option
@click.option("-o", "--output", metavar="FILE", help="Where to write; - or none: standard output.")
def command(
    artwork: str,
    names: tuple[str, ...],
    colour: str,
    pattern: str,
    pitch: float | None,
    gap: float | None,
    web: float | None,
    settings: tuple[str, ...],
    strokes: str | None,
    width: float | None,
    height: float | None,
    size_of: str | None,
    dpi: float,
    knock_out: str | None,
    colours: int | None,
    text_font: str | None,
    sheet_name: str | None,
    catalogue_files: tuple[str, ...],
    output: str | None,
) -> int:
    """Lay stones on every shape of a drawing and write layout.json.

    \b
    stonelayout lay crest.svg --width 240mm --stone ss10 --pattern courses -o layout.json
    """
    from stonelayout.documents.proof import design_size
    from stonelayout.laying.design_size import smaller_than_asked
    from stonelayout.laying.lay import lay
    from stonelayout.model.job import Pick, Rule, pitch_for
    from stonelayout.orders.own_files import own_catalogue
    from stonelayout.reading.skipped_findings import unread

    given = [(n, v) for n, v in (("pitch", pitch), ("gap", gap), ("web", web)) if v is not None]
    if len(given) > 1:
        raise click.UsageError("give one of --pitch, --gap and --web")
    catalogue = own_catalogue(catalogue_files)
    sheet = catalogue.sheet(sheet_name or DEFAULT_SHEET)
    catalogue.rgb(colour)
    sizes = [catalogue.stone(name) for name in dict.fromkeys(listed(names))]
    if len(sizes) > 1 and not PATTERNS[pattern].several:
        able = ", ".join(name for name, one in PATTERNS.items() if one.several)
        raise click.UsageError(
            f"--pattern {pattern} takes one size: give one --stone, or one of the patterns that "
            f"take several: {able}"
        )
    stones = tuple(sorted(sizes, key=lambda one: -one.diameter))
    rule = Rule(
        pick=Pick(all=True),
        stones=stones,
        pitches=tuple(pitch_for(one, sheet, *(given[0] if given else ())) for one in stones),
        colour=colour.lower(),
        pattern=pattern,
        options=_settings(pattern, settings),
        strokes=strokes_value(strokes, pattern) if strokes else None,
        key="lay",
    )
    art = read_artwork(
        artwork,
        width=width,
        height=height,
        size_of=size_of,
        dpi=dpi,
        knock_out=knock_out,
        colours=colours,
        text_font=text_font,
    )
    smaller = smaller_than_asked(art, (), size_of, SIZE_FLAG)
    layout = lay(art, [rule], sheet, LayingProgress())
    for line in finding_lines((*unread(art), *smaller, *layout.findings)):
        say(line)
    for line in _thin_webs(layout, sheet):
        say(line)
    write_result(output, layout.to_json())
    width, height = design_size(layout)
    say(
        f"{counted(len(layout), 'stone')} on {layout.size[0]:.1f} x {layout.size[1]:.1f} mm "
        f"({art.size_from}); the design is {mm_and_inches(width)} x {mm_and_inches(height)}"
    )
    return exit_code(layout.findings)


def _thin_webs(layout: Layout, sheet: Sheet) -> list[str]:
    """Return a warning for each size whose holes this sheet cannot hold."""
    from stonelayout.checks.webs import check_webs
    from stonelayout.template.separation import separate

    lines = []
    for layer in separate(layout, sheet):
        found = check_webs(layer, sheet)
        if found:
            gap = mm(sheet.clearance + sheet.least_web, 3)
            webs = counted(sum(finding.count for finding in found), "web")
            lines.append(
                f"warning: {layer.kind.size}: {webs} thinner than sheet {sheet.name} holds "
                f"({mm(sheet.least_web)}): give a gap of {gap} or more, or another sheet; "
                "stonelayout check shows where"
            )
    return lines


def _settings(pattern: str, settings: tuple[str, ...]) -> dict[str, Any]:
    """Read NAME=VALUE pairs by the pattern's own options."""
    known = {option.name: option for option in PATTERNS[pattern].options}
    values = PATTERNS[pattern].defaults()
    for setting in settings:
        name, _, text = setting.partition("=")
        if name not in known:
            raise click.UsageError(
                f'{pattern} has no option "{name}"; it has: {", ".join(known) or "none"}'
            )
        raw: Any = text
        if known[name].reader == "yes-no":
            raw = {"true": True, "yes": True, "false": False, "no": False}.get(text.lower(), text)
        elif known[name].reader in ("count", "angle"):
            try:
                raw = int(text) if known[name].reader == "count" else float(text)
            except ValueError:
                raw = text
        try:
            values[name] = known[name].read(raw)
        except InputError as error:
            raise click.UsageError(f"--set {name}: {error.message}") from None
    return values
