"""The command line: parse, call one library function, print."""

from __future__ import annotations

from importlib import import_module

import click

from charprobe import __version__
from charprobe.values.errors import CharprobeError

COMMANDS = {  # command -> module below charprobe.cli; the order is the order of the job
    "demo": "demo",
    "recipes": "stimulus",
    "stimulus": "stimulus",
    "stages": "stages",
    "simulate": "stages",
    "check": "measure",
    "measure": "measure",
    "show": "show",
    "compare": "show",
    "session": "session",
    "ab": "listening",
    "blind": "listening",
    "selftest": "demo",
}


class JobGroup(click.Group):
    """Loads a command's module when it is called for, and turns library errors into exit code 1."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """List the commands in the order of the job."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import the command's module and return the command."""
        if cmd_name not in COMMANDS:
            return None
        command = getattr(import_module(f"charprobe.cli.{COMMANDS[cmd_name]}"), f"{cmd_name}_command")
        assert isinstance(command, click.Command)
        return command

    def invoke(self, ctx: click.Context) -> object:
        """Run the command; what the library refuses becomes one message and exit code 1."""
        try:
            return super().invoke(ctx)
        except CharprobeError as error:
            raise click.ClickException(str(error)) from error
        except KeyboardInterrupt:
            click.echo("Stopped. What was finished is saved; the same command does the rest.", err=True)
            raise SystemExit(130) from None


@click.group(cls=JobGroup, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(__version__, prog_name="charprobe")
def main() -> None:
    """Measure what the colour and dynamics stages of a recording path really do.

    The usual way: render a stimulus, play it through the stage into any recorder, measure what came back.
    Start with `charprobe demo`: the whole job on a simulated device.
    """
