"""Sounds that begin and end while tones are played: of a tone played twice, one shows them."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from charprobe.measuring.health.path.under_tones import LINE_BINS, UnderTone, moves, under_tones
from charprobe.placing.take import Take
from charprobe.placing.tone_clock import windowed
from charprobe.profile.entry import ALL_GIVEN, Health
from charprobe.stimulus.kinds.bursts import PhaseSet
from charprobe.stimulus.kinds.segment import Tone
from charprobe.values.cut import Cut
from charprobe.values.fast_length import fast_length
from charprobe.values.hann import hann
from charprobe.values.wording import clock_text, number_text

LOUDER_DB = 10.0  # than under the same tone at another time, beyond what the gain makes of noise
IN_STEP, IN_STEP_SHARE = 10.0, 0.5  # times what the phase moves by, up to that share of the frequency away
LOUD_DBFS, FOLDS_DB = -20.0, 6.0  # of a tone; by which what folds back is weaker
DROWNS = 6.0, 40.0  # dB below a tone, and above what lies under others: no stage is so rough
FEWEST = 2  # tones: under one alone it may be a click, which is told by itself
LEAST_DBFS = -105.0
HEARD_S = 0.6  # of a part of a burst, at once
LEAST_TONE_S = 0.08  # of a burst's part, of which one period of hum must stand clear of the edges
BELOW_HZ, BELOW_SHARE = (40.0, 1000.0), 0.25  # what is heard of it: far below the carrier gains leave nothing
BURST_DB, BURST_DBFS = 12.0, -75.0  # by which thumps of a set differ, and what moves no gain that is read


def check_sound_under_tones(take: Take, found: Sequence[UnderTone]) -> list[Health]:
    """Compare what lies beside the harmonics of tones of one frequency and level: code ``spur``.

    What moves a tone's gain alone is the stage's, which may step under one tone and rest under the next.

    Of the parts of bursts the same is asked far below their carrier. A thump that a stage adds belongs to one
    part; a sound from elsewhere is under low ones and high ones.
    """
    groups: dict[tuple[float, float], list[UnderTone]] = {}
    for under in found:
        groups.setdefault((under.tone.frequency_hz, round(under.tone.level_dbfs, 3)), []).append(under)
    louder = []
    for group in groups.values():
        least = min(group, key=lambda under: under.beside_dbfs)
        for under in group:
            by_gain_db = max(0.0, under.gain_db - least.gain_db)
            beyond_db = under.beside_dbfs - max(least.beside_dbfs + by_gain_db, LEAST_DBFS)
            if beyond_db > LOUDER_DB and not _in_step(take, under.tone):
                louder.append((under.tone, under.beside_dbfs))
    if len(louder) < FEWEST:
        louder = _under_bursts(take)
    if len(louder) < FEWEST:
        louder = _drowned(found)
    if not louder:
        return []
    start_s = take.capture_time_s(min(tone.start for tone, _ in louder))
    end_s = take.capture_time_s(max(tone.stop for tone, _ in louder))
    loudest = max(level for _, level in louder)
    message = (
        f"Sound that was not played is under {len(louder)} tone{'s' if len(louder) > 1 else ''} between "
        f"{clock_text(start_s)} and {clock_text(end_s)}, up to {number_text(loudest, 0)} dBFS "
        f"({take.label}): tones like these are clean. A telephone, speech, a machine? What is read from "
        f"these tones carries it. Silence room and computer, and retake. {ALL_GIVEN}"
    )
    return [Health("spur", "warn", message, channel=take.channel, start_s=start_s, end_s=end_s)]


def check_sound_with_tones(bypass: Take) -> list[Health]:
    """Compare what is under loud tones of a bypass with what is under its quiet ones: code ``spur``.

    A stage may hiss or buzz as it works; with the stage off a path adds nothing that heeds the sound but
    harmonics, and what folds back of them.
    """
    found = [under for under in under_tones(bypass) if under.beside_dbfs > under.folding_dbfs + FOLDS_DB]
    beside: dict[bool, list[float]] = {True: [], False: []}
    for under in found:
        beside[under.tone.level_dbfs > LOUD_DBFS].append(under.beside_dbfs)
    if min(map(len, beside.values())) < FEWEST:
        return []
    heard_dbfs, usual_dbfs = (float(np.median(beside[loud])) for loud in (True, False))
    if heard_dbfs < max(usual_dbfs + LOUDER_DB, LEAST_DBFS):
        return []
    message = (
        f"With the stage off something sounds under loud tones, at {number_text(heard_dbfs, 0)} dBFS, and "
        f"not under quiet ones ({bypass.label}): a meter's lamps, a supply that labours, a contact? "
        f"Noise beside tones and harmonics carry it. Find its source and retake. {ALL_GIVEN}"
    )
    return [Health("spur", "warn", message, channel=bypass.channel)]


def _drowned(found: Sequence[UnderTone]) -> list[tuple[Tone, float]]:
    """Tones that what is no harmonic of theirs drowns, though the path is quiet under others."""
    floor_dbfs = min((under.beside_dbfs for under in found), default=0.0) + DROWNS[1]
    return [
        (under.tone, under.beside_dbfs)
        for under in found
        if under.beside_dbfs > max(under.tone.level_dbfs + under.gain_db - DROWNS[0], floor_dbfs)
    ]


def _in_step(take: Take, tone: Tone) -> bool:
    """Whether what lies around a tone moves its gain alone, as steps of the stage do: no added sound does."""
    gain, phase, bin_hz = moves(take, tone)
    around = slice(LINE_BINS + 1, round(IN_STEP_SHARE * tone.frequency_hz / bin_hz))
    return float(gain[around].sum()) > IN_STEP * float(phase[around].sum())


def _under_bursts(take: Take) -> list[tuple[Tone, float]]:
    """Parts of bursts with a sound below their carrier that the same part of other bursts has not.

    Empty unless two kinds of parts show it, or two stretches of a part: thumps end with the first of them.
    """
    louder: list[tuple[Tone, float]] = []
    kinds: set[tuple[float, int, int]] = set()
    heard = HEARD_S * take.stimulus.rate_hz
    for segment in take.stimulus.segments:
        if not isinstance(segment.spec, PhaseSet) or not take.holds(segment):
            continue
        parts: dict[tuple[float, int, int], list[tuple[Tone, Cut]]] = {}
        for tone in segment.tones:
            if tone.length > LEAST_TONE_S * take.stimulus.rate_hz:
                for at in range(max(1, int(tone.length / heard))):
                    start = tone.start + at * heard
                    cut = take.cut(start, min(tone.stop, start + heard))
                    parts.setdefault((tone.level_dbfs, tone.length, at), []).append((tone, cut))
        for kind, same in parts.items():
            if all(_beside_dbfs(tone, cut) < BURST_DBFS for tone, cut in same):
                continue
            levels = [(tone, _below_dbfs(tone, cut)) for tone, cut in same]
            usual = float(np.median([level for _, level in levels]))
            above = [one for one in levels if one[1] > max(usual + BURST_DB, BURST_DBFS)]
            louder += above
            kinds |= {kind} if above else set()
    return louder if len(kinds) > 1 else []


def _beside_dbfs(tone: Tone, cut: Cut) -> float:
    """Level of all beside a tone, seen through the same window: what lies below it is no louder."""
    window = hann(cut.samples.size)
    waves, seen = windowed(tone.frequency_hz / cut.rate_hz * cut.step, window.size), cut.samples * window
    energy = float(window @ window)
    rest = seen - (waves @ seen * (2 / energy)) @ waves
    return float(10 * np.log10(2 * float(rest @ rest) / energy + 1e-20))


def _below_dbfs(tone: Tone, cut: Cut) -> float:
    """Level of what lies under a stretch of a tone, well below its frequency."""
    window, size = hann(cut.samples.size), fast_length(cut.samples.size)
    most_hz = min(BELOW_HZ[1], BELOW_SHARE * tone.frequency_hz)
    first, last = (frequency_hz * size / cut.rate_hz for frequency_hz in (BELOW_HZ[0], most_hz))
    inside = np.fft.rfft(cut.samples * window, size)[math.floor(first) + 1 : math.ceil(last)]
    power = float(np.vdot(inside, inside).real)
    mean_power = 2 * power / (size * float(window @ window))
    return float(10 * np.log10(2 * mean_power + 1e-20))
