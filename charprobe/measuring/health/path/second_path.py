"""Sound that comes twice: direct monitoring ahead of what is processed, a parallel path, a room's tail."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from charprobe.measuring.health.path.tail_after_tones import tail_after_tones_db
from charprobe.placing.take import Take, held, once
from charprobe.profile.entry import Health
from charprobe.stimulus.kinds.segment import Span
from charprobe.stimulus.kinds.sweep import Sweep
from charprobe.stimulus.marker import Marker, sync_value
from charprobe.values.arrays import Array
from charprobe.values.fast_length import fast_length
from charprobe.values.wording import number_text

WITHHELD = ("static", "attack", "release", "colour", "response", "detector")
BY_PATH = (*WITHHELD, "noise")  # the second path brings its noise, too
BY_TAIL = ("noise.rise_under_signal", "noise.change_at_equal_level")  # read beside a tone, which it fills
EDGES = ("attack", "release")  # all that a weak copy moves
REACH_S, MARGIN_S = 0.06, 0.03  # delays looked at on both sides, and what is read beyond them
BANDS_HZ = ((500.0, 15_000.0), (500.0, 4000.0), (4000.0, 15_000.0))  # a copy may lack bass or treble
NEAREST = 7.25  # over the width of the band: nearer, the sides of the sound itself are as high as a copy
HALF = math.sqrt(0.5)
COMPACT = 0.26  # of `NEAREST`: 1.3 times the width that a copy of the whole band has at half power
SIDES = 10 ** (-30 / 20)  # the first of the sides that the band's window leaves of a copy
VALLEY = 10 ** (-6 / 20)  # of a copy, ahead of it: what only falls from the sound on is how that dies away
WEAKEST = 10 ** (-57 / 20)  # a weaker copy combs the response by less than 0.013 dB
CODERS_OWN = 10 ** (-30 / 20)  # what a coder makes of a marker may stand beside it so high
WEAK = 10 ** (-45 / 20)  # combs it by less than 0.05 dB, but sounds at the edges of bursts
CLEAR = 8.0  # times the median of the response there; the largest of 2000 noise values is 3.3 times it
ALONE = 2.0  # times more, where one marker is cut off and nothing confirms the other
SAME_S = 1e-4  # by which the delays that both markers show may differ
FINE = 1e-3  # of the strongest line of the marker's spectrum, below which it says nothing
TAIL_FROM_S = 0.003  # a stage's own filters have died away
TAIL_CLEAR = 2.0  # times what comes ahead of the sound; of reference stages at most 1.2 times in both markers
LEAST_TAIL_DB = -65.0  # below the sound; less moves no level by 0.005 dB


@dataclass(frozen=True)
class _Answer:
    """Envelope that a marker shows in one band over the direct sound's, on both sides, the nearest first.

    `beside` is what lies nearer than both, from half way on.
    """

    behind: Array
    ahead: Array
    beside: tuple[Array, Array]
    first: int
    rate_hz: float


def check_second_path(take: Take, *, coded: bool) -> list[Health]:
    """Look for a second arrival of the markers, ahead or behind: codes ``two-paths`` and ``diffuse-tail``.

    The markers are quiet and stand in silence, so no tone hides a copy and no compressor moves. A filter or
    a saturator of the stage leaves nothing compact half a millisecond away from the sound, and a copy that
    only one marker shows is none. Where what the stage does hides a copy, the longer sweep is asked. What is
    not compact but follows the sound in both markers, or a loud tone, is a room's or a plate's tail. Of a
    capture `coded` with loss, what is weaker than a coder's own error is left to that.
    """
    bands = _answers(take)
    copies = _copies(bands)
    if not copies and not coded and _hidden(bands):
        copies = _copies(_by_sweep(take))
    delay_s, size = max(copies, key=lambda copy: copy[1], default=(0.0, 0.0))
    if size > (CODERS_OWN if coded else 0.0):
        return [_two_paths(take, delay_s, size)]
    if coded:
        return []
    if bands and (tail_db := _tail_db(take, bands[0])) is not None:
        return [_diffuse(take, f"{number_text(-tail_db, 0)} dB below it")]
    if (rings_db := tail_after_tones_db(take)) is not None:
        return [_diffuse(take, f"{number_text(-rings_db, 0)} dB below a tone that ended 0.2 s ago")]
    return []


@once
def unseen_path(take: Take) -> tuple[float, float]:
    """Sizes of a copy and of a room's tail that may sound beside the sound, too weak to be told by anything.

    What the sound's own band leaves on both sides alike is neither, nor is noise, nor a filter that only
    falls away and is over by `TAIL_FROM_S`; others may hide either, but none above `WEAKEST`.
    """
    bands = _answers(take) or _by_sweep(take)
    if not bands:
        return WEAKEST, WEAKEST
    size, first = min(min(each.behind.size, each.ahead.size) for each in bands[0]), bands[0][0].first
    left = [float(np.median(each.behind)) for each in bands[0]]
    most = (
        CLEAR * min(left) + WEAKEST / CLEAR
    )  # a marker spreads, and tells nothing, where a gain still moves
    clear = [each for each, own in zip(bands[0], left, strict=True) if own < most]
    behind = np.min([answer.behind[:size] for answer in clear], axis=0)
    ahead = np.min([answer.ahead[:size] for answer in clear], axis=0)
    copy = float(_above_valleys(np.stack([behind - ahead, ahead - behind]), first).max())
    rest = slice(round(TAIL_FROM_S * bands[0][0].rate_hz) - first, None)
    tail = math.sqrt(max(float(np.sum(behind[rest] ** 2 - ahead[rest] ** 2)), 0.0) / _direct(bands[0][0]))
    return min(copy, WEAKEST), min(tail, WEAKEST)


def _above_valleys(course: Array, width: int) -> Array:
    """By how much each value of some courses stands above the deeper parts on both sides of it, so near."""
    least, count = np.maximum(course, 0.0), course.shape[-1]
    around = np.pad(least, ((0, 0), (width, width)), mode="edge")
    valleys = np.lib.stride_tricks.sliding_window_view(around, width + 1, axis=-1).min(axis=-1)
    after = 2 * (width // 2)
    return np.asarray(least - np.maximum(valleys[:, :count], valleys[:, after : after + count]))


@once
def _answers(take: Take) -> list[tuple[_Answer, ...]]:
    """What each marker that the capture holds shows, band by band; empty where it holds none, or no sound."""
    stimulus, rate_hz = take.stimulus, take.stimulus.rate_hz
    markers: tuple[tuple[Marker, Span], ...] = (("opening", stimulus.opening), ("closing", stimulus.closing))
    shown: list[list[_Answer]] = []
    for marker, span in markers:
        beside = (REACH_S + MARGIN_S) * rate_hz
        cut = take.cut(span.start - beside, span.stop + beside)
        whole = cut.samples.size >= 0.9 * (span.length + 2 * REACH_S * rate_hz)
        if not whole or not np.all(np.isfinite(cut.samples)) or not np.any(cut.samples):
            continue
        played = sync_value(marker, cut.position() - span.start, rate_hz=rate_hz)
        shown.append(_by_band(cut.samples, played, rate_hz))
    return list(zip(*shown, strict=True))


def _by_sweep(take: Take) -> list[tuple[_Answer, ...]]:
    """What the first sweep that the capture holds shows, band by band; what it bends stands far ahead."""
    rate_hz = take.stimulus.rate_hz
    for segment in held(take, Sweep)[:1]:
        cut = take.segment(segment, REACH_S + MARGIN_S)
        played = segment.spec.at((cut.position() - segment.span.start) / rate_hz)
        if np.all(np.isfinite(cut.samples)) and np.any(cut.samples):
            return [(answer,) for answer in _by_band(cut.samples, played, rate_hz)]
    return []


def _hidden(bands: list[tuple[_Answer, ...]]) -> bool:
    """Whether what the markers show beside the sound is as high as a copy that must be told."""
    sides = [side for band in bands for answer in band for side in (answer.ahead, answer.behind)]
    return not sides or CLEAR * max(float(np.median(side)) for side in sides) > ALONE * WEAKEST


def _copies(bands: list[tuple[_Answer, ...]]) -> list[tuple[float, float]]:
    return [copy for band in bands for side in ("ahead", "behind") if (copy := _copy(band, side))]


def _by_band(samples: Array, played: Array, rate_hz: float) -> list[_Answer]:
    """Envelope of the impulse response in each band, by division of spectra."""
    size = fast_length(samples.size + round(2 * REACH_S * rate_hz))
    spectrum, reference = np.fft.rfft(samples, size), np.fft.rfft(played, size)
    power = np.abs(reference) ** 2
    response = spectrum * reference.conj() / (power + FINE * float(power.max()))
    frequency = np.arange(power.size) * rate_hz / size
    last = round(REACH_S * rate_hz)
    answers = []
    for low_hz, top_hz in BANDS_HZ:
        high_hz = min(top_hz, 0.4 * rate_hz)
        share = np.clip((frequency - low_hz) / (high_hz - low_hz), 0.0, 1.0)
        one_sided = np.zeros(size, dtype=np.complex128)
        one_sided[: power.size] = response * np.sin(np.pi * share) ** 2
        envelope = np.abs(np.fft.ifft(one_sided))
        first = round(NEAREST / (high_hz - low_hz) * rate_hz)
        envelope /= max(float(envelope[:first].max()), float(envelope[-first:].max()), 1e-30)
        behind, ahead = envelope[:last], envelope[::-1][: last - 1]
        beside = behind[first // 2 : first], ahead[first // 2 : first]
        answers.append(_Answer(behind[first:], ahead[first - 1 :], beside, first, rate_hz))
    return answers


def _copy(answers: tuple[_Answer, ...], side: Literal["ahead", "behind"]) -> tuple[float, float] | None:
    """Delay in s, negative ahead, and size over the direct sound of what all markers show on one side."""
    at, sizes, rate_hz = [], [], answers[0].rate_hz
    surer = ALONE if len(answers) == 1 else 1.0
    for answer in answers:
        envelope = answer.behind if side == "behind" else answer.ahead
        beside = answer.beside[0 if side == "behind" else 1]
        at.append(int(np.argmax(envelope)))
        sizes.append(float(envelope[at[-1]]))
        least = surer * max(WEAKEST, CLEAR * float(np.median(envelope)))
        if at[-1] < answer.first // 2 and sizes[-1] < float(beside[-(beside.size // 4) :].max()):
            return None  # the sound itself is still ringing out
        high = envelope > HALF * sizes[-1]
        before, after = np.argmin(high[at[-1] :: -1]), np.argmin(high[at[-1] :])
        if before + after > COMPACT * answer.first + 1:
            return None  # a filter rings that is far narrower than the band
        valley = min(float(beside.min()), float(envelope[: at[-1] + 1].min()))
        if sizes[-1] < max(least, SIDES * float(beside.max()), valley / VALLEY):
            return None
    if abs(at[0] - at[-1]) > SAME_S * rate_hz:
        return None
    delay_s = (answers[0].first + sum(at) / len(at)) / rate_hz
    return (delay_s if side == "behind" else -delay_s), sum(sizes) / len(sizes)


def _tail_db(take: Take, markers: tuple[_Answer, ...]) -> float | None:
    """Energy that follows the opening marker, and the closing one or a sweep, over the sound's.

    The two chirps of the closing marker leave sides of their own, 58 dB down; a sweep leaves none.
    """
    if len(markers) == 1 or (opening_db := _behind_db(markers[0])) is None:
        return None
    others = (markers[1], *(band[0] for band in _by_sweep(take)[:1]))
    again_db = [level_db for answer in others if (level_db := _behind_db(answer)) is not None]
    level_db = min(opening_db, max(again_db)) if again_db else LEAST_TAIL_DB
    return level_db if level_db > LEAST_TAIL_DB else None


def _behind_db(answer: _Answer) -> float | None:
    """Energy of what follows the sound over the sound's; None unless clear of what lies ahead."""
    skipped = max(round(TAIL_FROM_S * answer.rate_hz) - answer.first, 0)
    behind, ahead = (float(np.sum(part[skipped:] ** 2)) for part in (answer.behind, answer.ahead))
    if behind < TAIL_CLEAR**2 * ahead:
        return None
    return 10 * math.log10(max(behind - ahead, 1e-30) / _direct(answer))


def _direct(answer: _Answer) -> float:
    """Samples within which the direct sound's envelope falls to half, as its first band tells."""
    return answer.rate_hz / (BANDS_HZ[0][1] - BANDS_HZ[0][0])


def _two_paths(take: Take, delay_s: float, size: float) -> Health:
    where = "ahead of the sound" if delay_s < 0 else "behind the sound"
    weak = size < WEAK
    comb_db = 20 * math.log10(1 + size)
    message = (
        f"Two copies: a second one {number_text(1e3 * abs(delay_s), 1)} ms {where}, "
        f"{number_text(-20 * math.log10(size), 0)} dB lower ({take.label}): direct monitoring or a parallel "
        f"path. They comb every level and response by up to {number_text(comb_db, 2)} dB, and sound at the "
        "edges of bursts. Mute the second path and retake. "
        + (
            "Attack and release are withheld, the rest kept"
            if weak
            else "Latency is kept, everything else withheld"
        )
    )
    withheld = EDGES if weak else BY_PATH
    return Health("two-paths", "stop", message, channel=take.channel, withholds=withheld)


def _diffuse(take: Take, level: str) -> Health:
    message = (
        f"A diffuse tail follows the sound, {level} ({take.label}): a room "
        "between loudspeaker and microphone, or a reverberator? It fills what follows a burst and adds to "
        "every level. Patch the stage in by cable, switch effects off, and retake. Noise in silence is "
        "kept, everything else withheld"
    )
    withheld = (*WITHHELD, *BY_TAIL)
    return Health("diffuse-tail", "stop", message, channel=take.channel, withholds=withheld)
