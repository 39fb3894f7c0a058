"""`charprobe ab`."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from charprobe.listening.match import Rule

FILE = click.Path(path_type=Path)


@click.command("ab")
@click.argument("dry", type=FILE)
@click.argument("processed", type=FILE)
@click.option("--out", type=FILE, required=True, help="Folder for the matched pair and the difference.")
@click.option(
    "--rule",
    type=click.Choice(["loudness", "rms", "low-level"]),
    default="loudness",
    show_default=True,
    help="What shall be equal.",
)
@click.option(
    "--roles-as-named",
    is_flag=True,
    help="Go on although the two look swapped (an expander looks so too).",
)
@click.option("--force", is_flag=True, help="Replace files that exist.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
def ab_command(
    dry: Path, processed: Path, out: Path, rule: Rule, roles_as_named: bool, force: bool, as_json: bool
) -> None:
    """Write DRY and PROCESSED as an aligned pair of equal level, and what differs between them.

    Only ever turns down. Listen at a moderate volume: set it with the louder passages.
    """
    from charprobe.listening.ab import make_pair

    made = make_pair(dry, processed, out, rule=rule, roles_as_named=roles_as_named, force=force)
    if as_json:
        click.echo(made.as_json())
        return
    click.echo(f"Delay {made.pair.delay.value:.3f} samples, matched by {made.matched.rule}:")
    for name, value in made.matched.after_db.items():
        before = made.matched.before_db.get(name)
        was = "" if before is None else f" (was {before:+.2f} dB)"
        click.echo(f"  processed less dry by {name}: {value:+.3f} dB{was}")
    click.echo(made.null.sentence)
    for note in (*made.pair.notes, *made.matched.notes):
        click.echo(note)
    click.echo(f"pair and difference: {out}", err=True)
