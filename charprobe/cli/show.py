"""`charprobe show` and `charprobe compare`."""

from __future__ import annotations

from pathlib import Path

import click

from charprobe.cli.paths import INPUT, PATH
from charprobe.cli.speaking import columns, say, tell_files


@click.command("show")
@click.argument("profile", type=INPUT)
@click.option("--figures", type=PATH, help="Folder to draw the figures into (SVG, PNG, PDF).")
@click.option("--animate", type=PATH, help="Folder for figures that move (MP4, or PNG without ffmpeg).")
@click.option("--force", is_flag=True, help="Overwrite figures that exist.")
@click.option("--all", "everything", is_flag=True, help="Print every quantity with all its digits.")
@click.option("--json", "as_json", is_flag=True, help="Print the profile as JSON.")
def show_command(
    profile: Path,
    figures: Path | None,
    animate: Path | None,
    force: bool,
    everything: bool,
    as_json: bool,
) -> None:
    """Say what a profile's setting is, in a few lines and numbers; draw its figures."""
    from charprobe.profile.profile import load_profile
    from charprobe.publishing.summary import WIDTH, summarise, summarise_all

    loaded = load_profile(profile)
    summary = summarise_all if everything else summarise
    click.echo(loaded.to_json() if as_json else summary(loaded, width=columns(WIDTH)), nl=not as_json)
    if figures is not None:
        from charprobe.publishing.figures.all_figures import draw_profile

        tell_files("drawn", draw_profile(loaded, figures, force=force))

    if animate is not None:
        from charprobe.publishing.figures.animation import animate as animated

        tell_files("animated", animated(loaded, animate, force=force))


@click.command("compare")
@click.argument("profiles", nargs=-1, required=True, type=INPUT)
@click.option("--out", required=True, type=PATH, help="Folder for the difference tables and figures.")
@click.option(
    "--reference",
    type=PATH,
    help="Folder of a session measured earlier: each setting is set beside the nearest one there.",
)
@click.option("--force", is_flag=True, help="Overwrite tables that exist.")
def compare_command(profiles: tuple[Path, ...], out: Path, reference: Path | None, force: bool) -> None:
    """Set PROFILES (two or more) against each other: differences, and what is the same.

    Two folders that `charprobe session` wrote, instead, show only what changed from the first to the second.
    """
    if reference is not None:
        _compare_with_reference(profiles, reference, out, force=force)
        return
    if len(profiles) < 2:
        raise click.UsageError("comparing takes at least two profiles, or two folders of sessions")
    if all(path.is_dir() for path in profiles):
        _compare_sessions(profiles, out, force=force)
        return
    from charprobe.comparing.compare import compare_profiles
    from charprobe.profile.profile import load_profile
    from charprobe.publishing.figures.all_figures import draw_set

    comparison = compare_profiles([load_profile(path) for path in profiles])
    firsts = [subject.repeats[0] for subject in comparison.subjects]
    labels = [subject.label for subject in comparison.subjects]
    written = comparison.save(out, force=force) + draw_set(firsts, labels, out, force=force)
    tell_files("written", written)
    say(comparison.text())


def _compare_with_reference(profiles: tuple[Path, ...], reference: Path, out: Path, *, force: bool) -> None:
    from charprobe.comparing.changes import load_profiles
    from charprobe.comparing.reference import beside_reference
    from charprobe.files.output import write_texts
    from charprobe.files.text_tables import markdown
    from charprobe.profile.profile import load_profile

    own = [
        one for path in profiles for one in (load_profiles(path) if path.is_dir() else [load_profile(path)])
    ]
    lines = beside_reference(own, load_profiles(reference), called=reference.name)
    text = "# Beside devices measured earlier\n\n" + "".join(f"- {markdown(line)}\n" for line in lines)
    tell_files("written", write_texts(out, {"reference.md": text}, force=force))
    say("\n".join(lines))


def _compare_sessions(folders: tuple[Path, ...], out: Path, *, force: bool) -> None:
    from charprobe.comparing.changes import changes_between, load_profiles

    if len(folders) != 2:
        raise click.UsageError("name two folders: the session before, and the session after")
    changes = changes_between(*(load_profiles(folder) for folder in folders))
    tell_files("written", changes.save(out, force=force))
    say(changes.text())
