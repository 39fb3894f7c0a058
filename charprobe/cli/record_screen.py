"""The terminal at the bench: what to set, levels while a take runs, verdicts, one key to go on."""

from __future__ import annotations

import os
import sys
import textwrap
import time
from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, TypeVar

import click
import numpy as np

from charprobe.cli.speaking import is_quiet, say_cautions
from charprobe.values.errors import CharprobeError, LiveError
from charprobe.values.wording import literal, shortened

if TYPE_CHECKING:
    from charprobe.bench.guide import Decision, Judged, Ready
    from charprobe.bench.jobs import Job
    from charprobe.bench.stream import Meter
    from charprobe.profile.entry import Health
    from charprobe.values.arrays import Array

T = TypeVar("T")
WIDEST, BAR, NAME, FLOOR_DBFS = 110, 20, 24, -60.0
NUMBER = 11  # columns of a level in words
EVERY_S, PIPED_EVERY_S = 0.1, 10.0
MOST_RETAKES = 2  # that --yes starts by itself
YES_NO = {"": True, "y": True, "yes": True, "n": False, "no": False}
READY: dict[str, Ready] = {"": "play", "p": "play", "s": "skip", "b": "back", "q": "stop"}
DECISIONS: dict[str, Decision] = {"k": "keep", "r": "retake", "s": "skip", "b": "back", "q": "stop"}
STOPPED = (
    "stopped at a question; nothing is played any more, what was recorded is kept. "
    "The same command goes on from here"
)


class Screen:
    """Asks and shows on the terminal; its end stops the sitting, and nothing rests on colour.

    With `yes` what is proposed is taken without asking.
    """

    def __init__(self, *, yes: bool) -> None:
        self.yes = yes
        self.retakes: dict[str, int] = {}
        self.consented = False

    def ask(self, question: str, usual: str, read: Callable[[str], T]) -> T:
        """Ask until an answer can be read, and return what `read` makes of it; Enter means what is usual."""
        while not self.yes:
            answer = self._line(f"{question} [{usual}]: ")
            if answer is None:
                raise LiveError(STOPPED)
            try:
                return read(answer.strip() or usual)
            except CharprobeError as error:
                say(f"{error}. Once more, please.")
        return read(usual)

    def agree(self, question: str) -> bool:
        """Whether the answer is yes."""
        if self.yes:
            return True
        answer = self._key(f"{question} [Enter = yes, n = no] ", YES_NO | {"q": None})
        if answer is None:
            raise LiveError(STOPPED)
        return answer

    def consent(self) -> None:
        """Show the cautions of a sitting and have them confirmed, once; nothing sounds before."""
        if self.consented:
            return
        say_cautions()
        while not self.yes:
            answer = self._line("All done? Type yes, or q to leave: ")
            if answer is None or answer.strip().casefold() in ("q", "n", "no"):
                raise LiveError("the cautions were not confirmed: nothing was played")
            if answer.strip().casefold() == "yes":
                break
        self.consented = True

    def ready(self, job: Job, number: int, of: int, length_s: float) -> Ready:
        """Say what to set, and wait until it is."""
        click.echo(f"\n{number} of {of}  {literal(job.name)}  ({length_s:.0f} s)", err=True)
        say(job.ask)
        if self.yes:
            if self.retakes.get(job.name, 0) <= MOST_RETAKES:
                return "play"
            say(f"{MOST_RETAKES + 1} takes were spoiled: look at the rig. Stopped.")
            return "stop"
        return self._key("  [Enter = play, s skip, b back, q stop] ", READY)

    def meter(self, job: Job | None) -> Meter:
        """Give a level line for one take."""
        return LevelLine("" if job is None else job.name)

    def clear(self) -> None:
        """Take the level line away."""
        if sys.stderr.isatty():
            click.echo(f"\r{'':<{columns() - 1}}\r", nl=False, err=True)

    def judged(self, judged: Judged, proposed: Decision) -> Decision:
        """Show the verdict and ask what to do."""
        self.clear()
        say(judged.word)
        if judged.trouble:
            say(judged.trouble)
        for line in judged.beside_bypass:
            say(f"{line}: make-up, unless a gain was turned since")
        for item in judged.health:
            _say_finding(item)
        several = len(judged.verdicts) > 1
        for verdict in judged.verdicts:
            for item in verdict.health:
                if item.severity != "note":
                    _say_finding(item, f"channel {verdict.take.channel + 1}: " if several else "")
        if self.yes or proposed == "stop":
            if proposed == "retake":
                self.retakes[judged.job.name] = self.retakes.get(judged.job.name, 0) + 1
            return proposed
        others = ", ".join(f"{key} {what}" for key, what in DECISIONS.items() if what != proposed)
        return self._key(f"  [Enter = {proposed}, {others}] ", {"": proposed} | DECISIONS)

    def _key(self, prompt: str, meant: Mapping[str, T]) -> T:
        """Ask until the answer is one of those meant; the end of the terminal, and Ctrl-C, mean "q"."""
        while True:
            line = self._line(prompt)
            answer = "q" if line is None else line.strip().casefold()
            if answer in meant:
                return meant[answer]
            say(f"{shortened(literal(answer), 40)!r} is none of the answers: nothing was done.")

    def _line(self, prompt: str) -> str | None:
        """One line of the terminal, typed after the question; None at its end and at Ctrl-C."""
        _drop_typed()
        click.echo(prompt, nl=False, err=True)
        try:
            return sys.stdin.readline() or None
        except KeyboardInterrupt:
            click.echo("", err=True)
            return None


def say(text: str) -> None:
    """Say something below a take, as wide as the terminal."""
    wide = max(min(columns(), WIDEST) - 1, 20)
    click.echo(
        textwrap.fill(
            text,
            wide,
            initial_indent="  ",
            subsequent_indent="    ",
            break_long_words=False,
            break_on_hyphens=False,
        ),
        err=True,
    )


def columns() -> int:
    """Width of the terminal."""
    try:
        return os.get_terminal_size(sys.stderr.fileno()).columns or WIDEST
    except (OSError, ValueError):
        return WIDEST


def _say_finding(item: Health, where: str = "") -> None:
    say(f"{where}{item.severity.upper()} {item.code}: {item.message}")


def _drop_typed() -> None:
    """Forget what was typed while a take ran: an impatient Enter answers no question to come."""
    if not sys.stdin.isatty():
        return
    try:
        import termios  # not on Windows
    except ImportError:  # pragma: no cover
        return
    termios.tcflush(sys.stdin, termios.TCIFLUSH)


class LevelLine:
    """Levels of every channel and the time left: one line that is written over, or one every ten seconds."""

    def __init__(self, name: str) -> None:
        self.name = shortened(literal(name), NAME) if name else ""
        self.live = sys.stderr.isatty()
        self.next = time.monotonic() + (0 if self.live else PIPED_EVERY_S)
        self.peaks: Array | None = None

    def __call__(self, *, left_s: float, peaks: Array) -> None:
        """Show where the take stands, as often as it can be read."""
        self.peaks = peaks if self.peaks is None else np.maximum(self.peaks, peaks)
        if is_quiet() or time.monotonic() < self.next:
            return
        self.next = time.monotonic() + (EVERY_S if self.live else PIPED_EVERY_S)
        levels = [max(20 * float(np.log10(max(peak, 1e-9))), -99.0) for peak in self.peaks.tolist()]
        line = self._line(f"  {self.name}  {left_s:4.0f} s left", levels)
        click.echo(f"\r{line}" if self.live else line, nl=not self.live, err=True)
        self.peaks = None

    def _line(self, head: str, levels: list[float]) -> str:
        """Level by level as bar and number; where that is too wide numbers alone, or the highest."""
        wide = columns() - 1
        room = (wide - len(head)) // len(levels) - 2
        bar = min(BAR, room - NUMBER - 1) if self.live else 0
        if room < NUMBER:
            levels, bar = [max(levels)], 0
        parts = [f"{self._bar(level, bar)}{level:6.1f} dBFS" for level in levels]
        line = "  ".join([head, *parts])
        return line[:wide].ljust(wide) if self.live else line

    def _bar(self, level_dbfs: float, width: int) -> str:
        """A level as a bar; none where there is no room for one."""
        if width < 4:
            return ""
        filled = round(width * min(1.0, max(0.0, 1 - level_dbfs / FLOOR_DBFS)))
        return ("#" * filled).ljust(width, ".") + " "
