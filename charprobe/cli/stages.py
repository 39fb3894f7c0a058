"""`charprobe stages` and `charprobe simulate`."""

from __future__ import annotations

from pathlib import Path
from typing import Any
from zlib import crc32

import click

from charprobe.cli.paths import INPUT, PATH
from charprobe.cli.speaking import print_json, tell


@click.command("stages")
@click.option("--faults", is_flag=True, help="List the faults that simulate can add, instead.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
def stages_command(as_json: bool, faults: bool) -> None:
    """List the reference stages with their true parameters."""
    if faults:
        _list_faults(as_json=as_json)
        return
    from charprobe.simulation.devices.catalogue import make_stage, stage_names
    from charprobe.values.quantity import Quantity
    from charprobe.values.wording import readable

    stages = [make_stage(name) for name in stage_names()]
    if as_json:
        rows = [
            {
                "name": stage.name,
                "summary": stage.summary,
                "truth": {
                    name: {"value": true.value, "unit": true.unit} for name, true in stage.truth.items()
                },
            }
            for stage in stages
        ]
        print_json(rows)
        return
    for stage in stages:
        click.echo(f"{stage.name}\n    {stage.summary}")
        for name, true in stage.truth.items():
            text = readable(Quantity(true.value, true.value, true.value, true.unit)).text
            click.echo(f"    {name:<28} {text}{f' ({true.note})' if true.note else ''}")


def _list_faults(*, as_json: bool) -> None:
    from charprobe.simulation.rig.fault_catalogue import fault_called, fault_names

    known = {name: fault_called(name) for name in fault_names()}
    if as_json:
        rows = [
            {"name": name, "summary": fault.summary, "unit": fault.unit}
            | (
                {"typical": fault.typical, "lowest": fault.lowest, "highest": fault.highest}
                if fault.unit
                else {}
            )
            for name, fault in known.items()
        ]
        print_json(rows)
        return
    for name, fault in known.items():
        click.echo(f"{name:<26}{fault.summary} ({fault.sizes})")


def _named_and_sized(
    ctx: click.Context, param: click.Parameter, values: tuple[str, ...]
) -> tuple[tuple[str, float | None, float | None], ...]:
    """Split NAME=SIZE@MS into its parts; a NAME alone has neither size nor time."""
    found: list[tuple[str, float | None, float | None]] = []
    for value in values:
        name, equals, rest = value.partition("=")
        size, at, time = rest.partition("@")
        try:
            found.append((name, float(size) if equals else None, float(time) if at else None))
        except ValueError:
            message = f"{rest!r} is no number: write NAME, NAME=SIZE or NAME=SIZE@MS"
            raise click.BadParameter(message, ctx, param) from None
    return tuple(found)


@click.command("simulate")
@click.argument("stage")
@click.argument("source", metavar="INPUT", type=INPUT)
@click.option("--out", required=True, type=PATH, help="WAV to write.")
@click.option("--seed", type=click.IntRange(0), help="Seed of all noise; by itself, of stage, rig and OUT.")
@click.option("--gain", "gain_db", type=float, default=0.0, help="Gain of the path, dB.")
@click.option("--delay", "delay_samples", type=click.FloatRange(0), default=0.0, help="Latency, samples.")
@click.option(
    "--drift", "drift_ppm", type=click.FloatRange(-1000, 1000), default=0.0, help="Recorder clock, ppm."
)
@click.option("--noise", "noise_dbfs", type=click.FloatRange(-200, 0), help="Converter noise, dBFS.")
@click.option("--bits", type=click.Choice(["16", "24"]), help="Converter word; left out, float.")
@click.option("--invert", "inverted", is_flag=True, help="Invert the polarity.")
@click.option(
    "--channels", type=click.IntRange(1, 32), default=1, show_default=True, help="Channels recorded."
)
@click.option("--hum", "hum_dbfs", type=click.FloatRange(-200, 0), help="50 Hz hum and its family, dBFS.")
@click.option(
    "--lead", "lead_s", type=click.FloatRange(0, 600), default=0.0, help="Extra silence in front, s."
)
@click.option("--tail", "tail_s", type=click.FloatRange(0, 600), default=0.0, help="Extra silence behind, s.")
@click.option(
    "--fault",
    "faults",
    metavar="NAME[=SIZE[@MS]]",
    multiple=True,
    callback=_named_and_sized,
    help="Add a fault after the rig; may be repeated. See charprobe stages --faults.",
)
@click.option("--force", is_flag=True, help="Overwrite a file that exists.")
def simulate_command(
    stage: str,
    source: Path,
    out: Path,
    seed: int | None,
    force: bool,
    bits: str | None,
    faults: tuple[tuple[str, float | None, float | None], ...],
    **rig: Any,
) -> None:
    """Send INPUT (a WAV) through a reference STAGE and a rig, as a recorder would catch it."""
    from charprobe.simulation.devices.catalogue import make_stage
    from charprobe.simulation.rig.rig import Rig
    from charprobe.simulation.simulate import simulate_file

    parts = Rig(bits=int(bits) if bits else None, **rig)
    if seed is None:  # another take has noise of its own, the same command the same
        seed = crc32(repr((stage, parts, out.name)).encode())
    simulate_file(make_stage(stage), source, out, rig=parts, seed=seed, force=force, faults=faults)
    tell(f"{out}  {stage}")
