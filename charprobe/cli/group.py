"""Groups of commands that name the nearest command where none is meant, and say all of what each is for."""

from __future__ import annotations

import click

ROOM = 4  # columns around the names of commands


class CommandGroup(click.Group):
    """A group whose help is never cut off, and that asks "did you mean"."""

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Find the command; an unknown one is told together with the nearest that there is."""
        name = args[0] if args else ""
        if name and not name.startswith("-") and self.get_command(ctx, name) is None:
            from difflib import get_close_matches

            known = self.list_commands(ctx)
            near = get_close_matches(name, known, n=1, cutoff=0.6)
            hint = f"did you mean {near[0]!r}?" if near else f"commands: {', '.join(known)}"
            ctx.fail(f"no command {name!r}; {hint}")
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """List every command with the whole first sentence of its help."""
        rows = []
        for name in self.list_commands(ctx):
            command = self.get_command(ctx, name)
            if command is not None:
                rows.append((name, command.get_short_help_str(10_000)))
        with formatter.section("Commands"):
            formatter.write_dl(rows, col_max=max(len(name) for name, _ in rows) + ROOM)
