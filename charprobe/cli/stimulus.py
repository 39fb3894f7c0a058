"""`charprobe recipes` and `charprobe stimulus`."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import click

from charprobe.cli.paths import INPUT, RATE
from charprobe.cli.speaking import is_quiet, print_json, say_cautions, tell

if TYPE_CHECKING:
    from collections.abc import Iterator

    from charprobe.stimulus.design import Design
    from charprobe.stimulus.design_expected import ExpectedInterval
    from charprobe.stimulus.recipe import Recipe


@click.command("recipes")
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
def recipes_command(as_json: bool) -> None:
    """List the shipped recipes: length, and what each is for."""
    from charprobe.stimulus.recipe import load_recipe, shipped_recipes
    from charprobe.stimulus.render import lay_out

    rows: list[dict[str, Any]] = []
    for name in shipped_recipes():
        recipe = load_recipe(name)
        seconds = lay_out(recipe, rate_hz=48_000, take=0).duration_s
        kinds = list(dict.fromkeys(spec.kind for spec in recipe.segments))
        rows.append(
            {"name": name, "length_s": round(seconds, 2), "summary": recipe.summary, "segments": kinds}
        )
    if as_json:
        print_json(rows)
        return
    for row in rows:
        click.echo(f"{row['name']:<12} {row['length_s']:6.1f} s  {row['summary']}")
        click.echo(f"{'':<12} {'':8}  {', '.join(row['segments'])}")


@click.command("stimulus")
@click.argument("recipe", required=False)
@click.option(
    "--for",
    "profile",
    type=INPUT,
    help="Instead of a RECIPE: design the stimulus for the setting of this first profile.",
)
@click.option(
    "--longest",
    "longest_s",
    type=click.FloatRange(20, 1800),
    default=180.0,
    show_default=True,
    help="With --for: bench time a take may cost, in s.",
)
@click.option("--out", required=True, type=click.Path(dir_okay=False, path_type=Path), help="WAV to write.")
@RATE
@click.option(
    "--take",
    type=click.IntRange(0, 255),
    default=1,
    show_default=True,
    help="Number the sound itself carries: give each setting its own.",
)
@click.option(
    "--format",
    "subtype",
    type=click.Choice(["float32", "pcm24"]),
    default="pcm24",
    show_default=True,
    help="Sample format.",
)
@click.option("--force", is_flag=True, help="Overwrite files that exist.")
def stimulus_command(
    recipe: str | None,
    profile: Path | None,
    longest_s: float,
    out: Path,
    rate_hz: int,
    take: int,
    subtype: Literal["float32", "pcm24"],
    force: bool,
) -> None:
    """Render RECIPE (a shipped name or a TOML file) as a WAV and a cue sheet beside it.

    With --for the recipe is designed from a first profile: steps around its threshold, gaps long enough for
    its release; the intervals to expect are printed.
    """
    if (recipe is None) == (profile is None):
        raise click.UsageError("give either a RECIPE or --for PROFILE")
    from charprobe.stimulus.cautions import FIRST_PLAY
    from charprobe.stimulus.recipe import load_recipe
    from charprobe.stimulus.write import write_stimulus
    from charprobe.values.wording import number_text

    chosen = load_recipe(recipe) if recipe is not None else _designed(profile, longest_s)
    written = write_stimulus(chosen, out, rate_hz=rate_hz, take=take, subtype=subtype, force=force)
    stimulus = written.stimulus
    sides = "" if stimulus.channels == 1 else "2 channels, one for each side  "
    click.echo(
        f"{written.wav}  {stimulus.duration_s:.2f} s  {rate_hz} Hz  {subtype}  {sides}"
        f"peak {number_text(written.peak_dbfs, 2)} dBFS  take {take}"
    )
    click.echo(
        f"{written.cues}  {len(stimulus.segments)} segments, recipe {stimulus.recipe.name} "
        f"{stimulus.recipe.hash[:6]}"
    )
    for segment in stimulus.segments:
        start_s, length_s = segment.span.start / rate_hz, segment.span.length / rate_hz
        click.echo(f"  {start_s:8.3f} s  {length_s:7.3f} s  {segment.spec.kind:<13} {segment.spec.name}")
    if not is_quiet():
        say_cautions()
    tell(FIRST_PLAY)


def _designed(path: Path | None, longest_s: float) -> Recipe:
    from charprobe.profile.profile import load_profile
    from charprobe.stimulus.design import design_stimulus

    assert path is not None
    design = design_stimulus(load_profile(path), longest_s=longest_s)
    for line in design_lines(design):
        click.echo(line)
    return design.recipe


def design_lines(design: Design) -> Iterator[str]:
    """Say why a designed stimulus is as it is, and what it should tell."""
    yield from design.reasons
    for item in design.expected:
        now, then = interval_text(item, item.now), interval_text(item, item.then)
        yield f"  {item.name:<22} now {now}, expected {then}"


def interval_text(item: ExpectedInterval, half: float) -> str:
    """Word what is foretold with half its interval, to the digits that this bears."""
    from charprobe.values.quantity import Quantity
    from charprobe.values.wording import readable

    return readable(Quantity(item.value, item.value - half, item.value + half, item.unit)).text
