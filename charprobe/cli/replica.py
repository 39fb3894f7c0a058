"""`charprobe preview`, `charprobe unprint` and `charprobe predict`."""

from __future__ import annotations

from pathlib import Path

import click

from charprobe.cli.paths import INPUT, PATH
from charprobe.cli.speaking import print_json


@click.command("preview")
@click.argument("replica", type=INPUT)
@click.argument("dry", type=INPUT)
@click.option("--out", type=PATH, required=True, help="WAV to write (32-bit float).")
@click.option("--equal-loudness", is_flag=True, help="Turn the result to the loudness of the dry take.")
@click.option("--beyond-levels", is_flag=True, help="Play a take that is louder than what was measured.")
@click.option("--force", is_flag=True, help="Replace a file that exists.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
def preview_command(
    replica: Path, dry: Path, out: Path, equal_loudness: bool, beyond_levels: bool, force: bool, as_json: bool
) -> None:
    """Hear what the setting of REPLICA would make of the take DRY before it is printed.

    The result may be louder than the dry take: start with a low volume.
    """
    from dataclasses import asdict

    from charprobe.replica.model import load_replica
    from charprobe.replica.preview import preview
    from charprobe.values.wording import signed_text

    made = preview(
        load_replica(replica),
        dry,
        out,
        equal_loudness=equal_loudness,
        beyond_levels=beyond_levels,
        force=force,
    )
    if as_json:
        print_json(asdict(made))
        return
    click.echo(f"{made.mean_reduction_db:.1f} dB less on average, {made.most_reduction_db:.1f} dB at most.")
    if made.turned_db:
        click.echo(f"Turned by {signed_text(made.turned_db, 2)} dB for equal loudness.")
    for note in made.notes:
        click.echo(note)
    click.echo(f"written: {out}", err=True)


@click.command("unprint")
@click.argument("replica", type=INPUT)
@click.argument("printed", type=INPUT)
@click.option("--out", type=PATH, required=True, help="WAV to write (32-bit float); never the printed one.")
@click.option("--force", is_flag=True, help="Replace a file that exists.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON: the bound over time and by band too.")
def unprint_command(replica: Path, printed: Path, out: Path, force: bool, as_json: bool) -> None:
    """Take the setting of REPLICA back out of the take PRINTED: an estimate of the dry take.

    The printed file is never changed. The result can be louder: start with a low volume.
    """
    from charprobe.replica.model import load_replica
    from charprobe.replica.unprint import unprint

    model = load_replica(replica)
    made = unprint(model, printed, out, force=force)
    if as_json:
        print_json(made.to_dict())
    else:
        click.echo(made.text())
    click.echo(f"written: {out}", err=True)


@click.command("predict")
@click.argument("replicas", type=INPUT, nargs=-1, required=True)
@click.option("--material", "files", type=INPUT, multiple=True, help="Dry take of your own; may be repeated.")
@click.option("--table", "as_table", is_flag=True, help="Print all numbers as a table instead of sentences.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
def predict_command(
    replicas: tuple[Path, ...], files: tuple[Path, ...], as_table: bool, as_json: bool
) -> None:
    """Tell what the settings of REPLICAS will do to programme.

    Five kinds of made-up material at three drives, or your own takes at the level they have.
    """
    from dataclasses import asdict

    from charprobe.replica.model import load_replica
    from charprobe.replica.predict import predict, predict_file
    from charprobe.replica.preview import how_good
    from charprobe.replica.words import sentence, table
    from charprobe.values.wording import literal

    models = [load_replica(path) for path in replicas]
    found = [
        one
        for model in models
        for one in ([predict_file(model, path) for path in files] if files else predict(model))
    ]
    if as_json:
        print_json([asdict(one) for one in found])
        return
    click.echo(table(found) if as_table else "\n".join(map(sentence, found)))
    for model in models:
        click.echo(f"{literal(model.setting)}: {how_good(model)}")
