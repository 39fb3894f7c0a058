"""What a stage answers to steady tones and bursts; each is asked once and kept in the system's temporary folder."""

from __future__ import annotations

import hashlib
import os
import pickle
import sys
import tempfile
from collections.abc import Iterable, Iterator, Sequence
from functools import partial
from inspect import getmodule, getsource, isclass, isfunction, ismodule
from pathlib import Path
from types import CodeType
from typing import Any

import numpy as np

from tests.benchmarks.zoo.bursts import BurstTruth
from tests.benchmarks.zoo.played_bursts import PlayedSet, played_truth
from tests.benchmarks.zoo.stage import Array, Stage
from tests.benchmarks.zoo.tones import Settled, settled
from tests.benchmarks.zoo.trace_constants import Constants, trace_constants

ROUNDS, PARTS = 4, 8
HISS_S = 8
CODE = ("stage", "loops", "curves", "filters", "tones", "bursts", "played_bursts")


class Answers:
    """A stage at one rate, and what it has answered so far."""

    def __init__(self, stage: Stage, rate_hz: int) -> None:
        self._stage, self._rate_hz = stage, rate_hz
        told = f"{code_of(stage)}|{stage.name}|{rate_hz}"
        told += f"|{stage.warm_s}|{stage.calm_s}|{stage.late_s}|{stage.ahead_s}"
        told += "|turns" if stage.turns_phase else ""
        name = hashlib.sha256(told.encode()).hexdigest()[:24]
        self._file = Path(tempfile.gettempdir(), "charprobe-zoo", f"{name}.answers")
        self._known: dict[Any, Any] = pickle.loads(self._file.read_bytes()) if self._file.exists() else {}

    def keep(self) -> None:
        """Write down all answers, whole or not at all."""
        self._file.parent.mkdir(exist_ok=True)
        part = self._file.with_suffix(f".{os.getpid()}")
        part.write_bytes(pickle.dumps(self._known))
        part.replace(self._file)

    def tones(self, asked: Sequence[tuple[float, float]]) -> list[Settled]:
        """Settled tones of (frequency, level)."""
        new = [tone for tone in dict.fromkeys(asked) if tone not in self._known]
        self._known.update(zip(new, settled(self._stage, new, self._rate_hz), strict=True))
        return [self._known[tone] for tone in asked]

    def bursts(self, played: PlayedSet, sound: Array) -> tuple[BurstTruth, ...]:
        """Times of a set of bursts of a stimulus's sound."""
        last, _ = played.leads[-1]
        key = played, hashlib.sha256(sound[:last].tobytes()).hexdigest()
        if key not in self._known:
            self._known[key] = played_truth(self._stage, played, sound, self._rate_hz)
        found: tuple[BurstTruth, ...] = self._known[key]
        return found

    def constants(self, played: PlayedSet, sound: Array) -> Constants:
        """Constants of a set of bursts, where the gain is the whole of the stage and does not move by itself."""
        stage, source = self._stage, getsource(sys.modules[trace_constants.__module__])
        if not stage.trace_is_gain or stage.joined or stage.unsteady_db:
            return {}
        last, _ = played.leads[-1]
        key = "constants", source, played, hashlib.sha256(sound[:last].tobytes()).hexdigest()
        if key not in self._known:
            self._known[key] = trace_constants(stage, played, sound, self._rate_hz)
        found: Constants = self._known[key]
        return found

    def hiss_dbfs(self) -> float:
        """Noise of the stage in silence, 20 Hz to 20 kHz, without lines: from the median of every 50 Hz."""
        if "hiss_dbfs" not in self._known:
            count = round((self._stage.warm_s + HISS_S) * self._rate_hz)
            sound = self._stage.answers([np.zeros(count)], self._rate_hz)[0].sound[-HISS_S * self._rate_hz :]
            heard = np.hanning(sound.size) / np.sqrt(3 / 8) * sound
            power = np.square(np.abs(2 * np.fft.rfft(heard) / sound.size))[20 * HISS_S : 20_020 * HISS_S]
            mean = np.median(power.reshape(-1, 50 * HISS_S), axis=1) / np.log(2)
            self._known["hiss_dbfs"] = float(10 * np.log10(50 * HISS_S * mean.sum() + 1e-30))
        found: float = self._known["hiss_dbfs"]
        return found

    def one_db_down(
        self,
        frequency_hz: float,
        levels: Sequence[float],
        curve: Sequence[Settled],
        flat: tuple[float, float],
    ) -> float | None:
        """Level at which the gain has fallen 1 dB below its plateau, from ever closer levels."""
        gain = np.array([point.gain_db for point in curve])
        line = (flat[0] + flat[1]) / 2 - 1
        on = np.flatnonzero(np.abs(gain - line - 1) < 0.01 + flat[1] - flat[0])
        under = np.flatnonzero((gain < line) & (np.arange(gain.size) > on[0])) if on.size else on
        if not under.size:
            return None
        low, high = levels[under[0] - 1], levels[under[0]]
        for _ in range(ROUNDS):
            inner = np.linspace(low, high, PARTS + 1)[1:-1].tolist()
            lost = [point.gain_db < line for point in self.tones([(frequency_hz, level) for level in inner])]
            first = lost.index(True) if True in lost else len(lost)
            edges = [low, *inner, high]
            low, high = edges[first], edges[first + 1]
        return (low + high) / 2


def code_of(stage: Stage) -> str:
    """Text of all that bears on the answers of a stage: of what asks it, and of its law with all that this calls."""
    asking = [(Path(__file__).parent / f"{name}.py").read_text() for name in CODE]
    return "|".join([*asking, *_texts(stage.process, set())])


def _texts(part: Any, seen: set[int]) -> Iterator[str]:
    """Texts of our own functions that a part is or holds, of those that they name, and the values that they name."""
    part = getattr(part, "py_func", part)  # of a compiled one
    inner: Iterable[Any] = ()
    if isinstance(part, str | int | float | np.ndarray):
        yield repr(part)
    elif isinstance(part, tuple | list):
        inner = part
    elif isinstance(part, dict):
        inner = part.values()
    elif isinstance(part, partial):
        inner = (part.func, *part.args, *part.keywords.items())
    elif id(part) not in seen and getattr(getmodule(part), "__name__", "").startswith("tests."):
        seen.add(id(part))
        own = isfunction(part) or ismodule(part) or isclass(part)
        yield getsource(part) if own else repr(part) + getsource(type(part))
        if isfunction(part):
            cells = [cell.cell_contents for cell in part.__closure__ or ()]
            inner = (*cells, *(part.__globals__.get(name) for name in _names(part.__code__)))
    for one in inner:
        yield from _texts(one, seen)


def _names(code: CodeType) -> Iterator[str]:
    """Names that a function reads from outside, those in it too."""
    yield from code.co_names
    for part in code.co_consts:
        if isinstance(part, CodeType):
            yield from _names(part)
