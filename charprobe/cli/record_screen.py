"""The terminal at the bench: what to set, levels while a take runs, verdicts, one key to go on."""

from __future__ import annotations

import sys
import time
from typing import TYPE_CHECKING

import click
import numpy as np

from charprobe.values.wording import literal

if TYPE_CHECKING:
    from charprobe.bench.guide import Decision, Judged, Ready
    from charprobe.bench.jobs import Job
    from charprobe.bench.stream import Meter
    from charprobe.values.arrays import Array

WIDTH, BAR, FLOOR_DBFS = 110, 20, -60.0
EVERY_S, PIPED_EVERY_S = 0.1, 10.0
MOST_RETAKES = 2  # that --yes starts by itself
READY: dict[str, Ready] = {"": "play", "p": "play", "s": "skip", "b": "back", "q": "stop"}
DECISIONS: dict[str, Decision] = {"k": "keep", "r": "retake", "s": "skip", "b": "back", "q": "stop"}
HELD_TEXT = {"keep": "k keep", "retake": "r retake", "stop": "q stop"}


class Screen:
    """Asks and shows on the terminal; the end of the input means "stop", and nothing rests on colour.

    Parameters
    ----------
    yes : bool
        Take what is proposed without asking.
    """

    def __init__(self, *, yes: bool) -> None:
        self.yes = yes
        self.retakes: dict[str, int] = {}

    def ask(self, question: str, usual: str) -> str:
        """Return an answer, or what is usual."""
        if self.yes:
            return usual
        answer: str = click.prompt(question, default=usual, err=True)
        return answer

    def agree(self, question: str) -> bool:
        """Whether the answer is yes."""
        return self.yes or self._key(f"{question} [Enter = yes, n = no] ") in ("", "y", "yes", "j")

    def consent(self, cautions: str) -> bool:
        """Show the cautions of a sitting and have them confirmed, once."""
        click.echo(cautions, err=True)
        return self.yes or self._key("All done? Type yes: ") == "yes"

    def ready(self, job: Job, number: int, of: int, length_s: float) -> Ready:
        """Say what to set, and wait until it is."""
        click.echo(f"\n{number} of {of}  {job.name}  ({length_s:.0f} s)\n  {job.ask}", err=True)
        if self.yes:
            if self.retakes.get(job.name, 0) <= MOST_RETAKES:
                return "play"
            click.echo(f"  {MOST_RETAKES + 1} takes were spoiled: look at the rig. Stopped.", err=True)
            return "stop"
        answer = self._key("  [Enter = play, s skip, b back, q stop] ")
        return READY.get(answer, "stop")

    def meter(self, job: Job | None) -> Meter:
        """Give a level line for one take."""
        return LevelLine("" if job is None else job.name)

    def clear(self) -> None:
        """Take the level line away."""
        if sys.stderr.isatty():
            click.echo(f"\r{'':<{WIDTH}}\r", nl=False, err=True)

    def judged(self, judged: Judged, proposed: Decision) -> Decision:
        """Show the verdict and ask what to do."""
        self.clear()
        click.echo(f"  {judged.word}", err=True)
        if judged.trouble:
            click.echo(f"  {judged.trouble}", err=True)
        for item in judged.health:
            click.echo(f"  {item.severity.upper()} {item.code}: {item.message}", err=True)
        for verdict in judged.verdicts:
            for item in verdict.health:
                if item.severity != "note":
                    channel = verdict.take.channel + 1
                    click.echo(
                        f"  channel {channel}: {item.severity.upper()} {item.code}: {item.message}", err=True
                    )
        if self.yes or proposed == "stop":
            if proposed == "retake":
                self.retakes[judged.job.name] = self.retakes.get(judged.job.name, 0) + 1
            return proposed
        held = HELD_TEXT[proposed]
        answer = self._key(f"  [Enter = {held}; k keep, r retake, s skip, b back, q stop] ")
        if not answer:
            return proposed
        return DECISIONS.get(answer, "stop")

    def _key(self, prompt: str) -> str:
        """One line of the terminal, in small letters; its end, and Ctrl-C, mean "stop"."""
        click.echo(prompt, nl=False, err=True)
        try:
            line = sys.stdin.readline()
        except KeyboardInterrupt:
            return "q"
        return line.strip().casefold() if line else "q"


class LevelLine:
    """Levels of every channel and the time left: one line that is written over, or one every ten seconds."""

    def __init__(self, name: str) -> None:
        self.name = literal(name) if name else ""
        self.live = sys.stderr.isatty()
        self.next = time.monotonic() + (0 if self.live else PIPED_EVERY_S)
        self.peaks: Array | None = None

    def __call__(self, *, left_s: float, peaks: Array) -> None:
        """Show where the take stands, as often as it can be read."""
        self.peaks = peaks if self.peaks is None else np.maximum(self.peaks, peaks)
        if time.monotonic() < self.next:
            return
        self.next = time.monotonic() + (EVERY_S if self.live else PIPED_EVERY_S)
        shown = [self._bar(20 * np.log10(max(float(peak), 1e-9))) for peak in self.peaks]
        line = f"{self.name}  {left_s:4.0f} s left  {'  '.join(shown)}"
        click.echo(f"\r  {line}" if self.live else f"  {line}", nl=not self.live, err=True)
        self.peaks = None

    def _bar(self, level_dbfs: float) -> str:
        """A level as a bar and a number."""
        filled = round(BAR * min(1.0, max(0.0, 1 - level_dbfs / FLOOR_DBFS)))
        width = BAR if self.live else 0
        bar = ("#" * filled).ljust(width, ".") if self.live else ""
        return f"{bar} {max(level_dbfs, -99):5.1f} dBFS".strip()
