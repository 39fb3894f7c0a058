"""`charprobe ab` and `charprobe blind`."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from charprobe.cli.group import CommandGroup
from charprobe.cli.paths import INPUT, PATH
from charprobe.cli.speaking import print_json, tell

if TYPE_CHECKING:
    from charprobe.listening.match import Rule


@click.command("ab")
@click.argument("dry", type=INPUT)
@click.argument("processed", type=INPUT)
@click.option("--out", type=PATH, required=True, help="Folder for the matched pair and the difference.")
@click.option(
    "--rule",
    type=click.Choice(["loudness", "rms", "low-level"]),
    default="loudness",
    show_default=True,
    help="What shall be equal.",
)
@click.option(
    "--difference-without-response",
    is_flag=True,
    help="Take the best linear filter out of the difference file too.",
)
@click.option("--figures", type=PATH, help="Folder for figures of the gain, the levels and the difference.")
@click.option(
    "--roles-as-named",
    is_flag=True,
    help="Go on although the two look swapped (an expander looks so too).",
)
@click.option(
    "--second-path-as-meant",
    is_flag=True,
    help="Go on although the processed file holds the dry sound twice (an echo does so too).",
)
@click.option(
    "--convert-rate",
    is_flag=True,
    help="Go on with files of different sampling rates: the faster one is converted down.",
)
@click.option("--force", is_flag=True, help="Replace files that exist.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
def ab_command(
    dry: Path,
    processed: Path,
    out: Path,
    rule: Rule,
    difference_without_response: bool,
    figures: Path | None,
    roles_as_named: bool,
    second_path_as_meant: bool,
    convert_rate: bool,
    force: bool,
    as_json: bool,
) -> None:
    """Write DRY and PROCESSED as an aligned pair of equal level, and what differs between them.

    Only ever turns down. Listen at a moderate volume: set it with the louder passages.
    """
    from charprobe.listening.ab import make_pair
    from charprobe.values.quantity import Quantity
    from charprobe.values.wording import number_text, signed_text

    made = make_pair(
        dry,
        processed,
        out,
        rule=rule,
        remove_response=difference_without_response,
        roles_as_named=roles_as_named,
        second_path_as_meant=second_path_as_meant,
        convert_rate=convert_rate,
        force=force,
    )
    if figures is not None:
        from charprobe.publishing.figures.listening import save_listening
        from charprobe.publishing.figures.look.style import ARTICLE_LOOK

        save_listening(made, figures, ARTICLE_LOOK, force=force)
    if as_json:
        click.echo(made.as_json())
        return
    delay, drift = number_text(made.pair.delay.value, 3), made.pair.drift_ppm
    clock = f", clock {signed_text(drift.value, 2)} ppm" if isinstance(drift, Quantity) else ""
    click.echo(f"Delay {delay} samples{clock}, matched by {made.matched.rule}:")
    for name, value in made.matched.after_db.items():
        before = made.matched.before_db.get(name)
        was = "" if before is None else f" (was {signed_text(before, 2)} dB)"
        click.echo(f"  processed less dry by {name}: {signed_text(value, 3)} dB{was}")
    click.echo(made.null.sentence)
    for note in (*made.pair.notes, *made.matched.notes):
        click.echo(note)
    tell(f"pair and difference: {out}")


@click.group("blind", cls=CommandGroup)
def blind_command() -> None:
    """Make a blind listening pack from a matched pair, and score its result."""


@blind_command.command("make", epilog="Example: charprobe blind make pair --out pack --key key.json")
@click.argument("pair", type=PATH)
@click.option("--out", type=PATH, required=True, help="Folder for the pack; hand out this folder alone.")
@click.option("--key", "key_path", type=PATH, required=True, help="Key file (JSON); keep it to yourself.")
@click.option(
    "--trials", type=click.IntRange(5, 100), default=25, show_default=True, help="Rounds that count."
)
@click.option(
    "--controls",
    type=click.IntRange(0, 20),
    default=2,
    show_default=True,
    help="Rounds mixed in with the same sound on both sides.",
)
@click.option("--start", "start_s", type=float, help="Start of the excerpt in s; left out, the loudest part.")
@click.option("--length", "length_s", type=float, default=8.0, show_default=True, help="Its length in s.")
@click.option("--force", is_flag=True, help="Replace an earlier pack and key.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
def make_command(
    pair: Path,
    out: Path,
    key_path: Path,
    trials: int,
    controls: int,
    start_s: float | None,
    length_s: float,
    force: bool,
    as_json: bool,
) -> None:
    """Turn PAIR, a folder that `charprobe ab` wrote, into a blind listening pack.

    The listener opens listen.html of the pack in a browser; it works without a network. Set the volume for
    the loudest sound, and take breaks. The seal printed here proves later that the key was not changed.
    """
    import secrets

    import numpy as np

    from charprobe.listening.blind.pages import LEVEL, PAGE, make_pack
    from charprobe.listening.blind.score import power_text

    rng = np.random.default_rng(secrets.randbits(256))
    pack = make_pack(
        pair,
        out,
        key_path=key_path,
        trials=trials,
        controls=controls,
        start_s=start_s,
        length_s=length_s,
        rng=rng,
        force=force,
    )
    if as_json:
        facts = {"pack": pack.key.pack, "seal": pack.seal, "start_s": pack.key.start_s, "length_s": length_s}
        print_json(facts)
        return
    click.echo(power_text(trials, level=LEVEL))
    click.echo(f"Pack {pack.key.pack}: {trials} rounds that count, {controls} with nothing to tell apart.")
    click.echo(f"Excerpt from {pack.key.start_s:.1f} s, {length_s:g} s long. Page: {out / PAGE}")
    click.echo(f"Seal of the key: {pack.seal}")


@blind_command.command("score", epilog="Example: charprobe blind score result.json --key key.json")
@click.argument("result", type=INPUT)
@click.option("--key", "key_path", type=PATH, required=True, help="Key file of the pack.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
def score_command(result: Path, key_path: Path, as_json: bool) -> None:
    """Open the key and score RESULT, the file that the page saved after the last round."""
    from dataclasses import asdict

    from charprobe.listening.blind.score import score

    found = score(result, key_path=key_path)
    if as_json:
        print_json(asdict(found))
        return
    click.echo(found.sentence)
    click.echo(
        f"{found.needed} of {found.trials} were needed (guessing: at most {100 * found.level:g} %, fixed "
        f"beforehand); someone right in 7 of 10 trials gets there in {100 * found.power:.0f} % of sessions."
    )
    for note in found.notes:
        click.echo(note)
