"""`charprobe stages` and `charprobe simulate`."""

from __future__ import annotations

import json

import click


@click.command("stages")
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
def stages_command(as_json: bool) -> None:
    """List the reference stages with their true parameters."""
    from charprobe.stages.catalogue import make_stage, stage_names

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
        click.echo(json.dumps(rows, indent=2, allow_nan=False))
        return
    for stage in stages:
        click.echo(f"{stage.name}\n    {stage.summary}")
        for name, true in stage.truth.items():
            click.echo(f"    {name:<28} {true.value:12.6g} {true.unit}")
