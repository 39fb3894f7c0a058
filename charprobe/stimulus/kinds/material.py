"""Made-up music and speech: sound with the dynamics of programme, synthesised here, owned by nobody."""

from __future__ import annotations

from typing import Literal

import numpy as np

from charprobe.stimulus.kinds.filters import band_pass, low_pass, sounding, transform
from charprobe.values.arrays import Array, Complex

Material = Literal["music", "speech", "plucked", "drums", "sustained"]
PEAK = 10 ** (-3 / 20)
STRETCH = 4096  # samples computed at a time
BLOCK = 256  # and of a string, whose phasors are those of a block's start times those within it
RINGS_S = 0.2  # within which the narrowest resonance of a vowel has died away
_BEAT_S = 60 / 104
_CHORDS = (
    (0, 3, 7, 10),
    (5, 8, 12, 15),
    (-4, 0, 3, 7),
    (-2, 2, 5, 8),
)  # semitones above the tonic, a bar each
_SCALE = (0, 3, 5, 7, 10, 12, 15)
_TONIC_HZ = 110.0
_VOWELS_HZ = (  # formants
    (730, 1090, 2440, 3400),
    (270, 2290, 3010, 3600),
    (300, 870, 2240, 3300),
    (530, 1840, 2480, 3500),
    (570, 840, 2410, 3300),
)


def generate(kind: Material, *, seconds: float, rate_hz: int, rng: np.random.Generator) -> Array:
    """Synthesise programme-like sound.

    Parameters
    ----------
    kind : {"music", "speech", "plucked", "drums", "sustained"}
        A small band with drums, one voice with pauses, strings struck in turn, drums alone, or chords that
        swell and sway.
    seconds : float > 0
        Length.
    rate_hz : int
        Sampling rate, at least 22050.
    rng : numpy.random.Generator
        Decides every note and syllable: the same generator state gives the same sound.

    Returns
    -------
    ndarray, shape (n,)
        One channel, peak -3 dBFS.

    Examples
    --------
    >>> sound = generate("music", seconds=4.0, rate_hz=48_000, rng=np.random.default_rng(1))
    >>> sound.size, bool(12 < 20 * np.log10(np.abs(sound).max() / sound.std()) < 24)
    (192000, True)
    """
    if rate_hz < 22_050 or seconds <= 0:
        raise ValueError(
            f"needs a positive length and a rate of at least 22050 Hz, got {seconds} s, {rate_hz} Hz"
        )
    count = round(seconds * rate_hz)
    made = {
        "music": _music, "speech": _speech, "plucked": _plucked, "drums": _beat, "sustained": _sustained,
    }  # fmt: skip
    raw = made[kind](count, rate_hz, rng)
    top_hz = 0.38 * min(rate_hz, 50_000)  # microphones end here too
    raw = low_pass(raw, order=6, corner_hz=top_hz, rate_hz=rate_hz)
    return np.asarray(raw * (PEAK / np.abs(raw).max()))


def _add(out: Array, at: int, sound: Array) -> None:
    if at < out.size:
        kept = sound[: out.size - at]
        out[at : at + kept.size] += kept


def _music(count: int, rate_hz: int, rng: np.random.Generator) -> Array:
    out = np.zeros(count)
    step = _BEAT_S / 4
    plucks: dict[int, Array] = {}
    melody = 3
    for index in range(int(count / rate_hz / step) + 1):
        bar, place = divmod(index, 16)
        chord = _CHORDS[bar % 4]
        section = 10 ** (-(0.0, 3.0, 7.0, 1.0)[bar // 2 % 4] / 20)
        at = round((index * step + rng.normal(0, 0.003)) * rate_hz) if index else 0
        swell = section * 10 ** (rng.normal(0, 1.2) / 20)
        if bar % 8 != 5:
            _add(out, at, swell * _drums(place, rate_hz, rng))
        if place in (0, 6, 8, 14):
            _add(out, at, 0.5 * swell * _pluck(plucks, chord[0] - 12, rate_hz, rng))
        if place in (0, 4, 10):
            for note in chord:
                _add(
                    out,
                    at + round(rng.uniform(0, 0.012) * rate_hz),
                    0.16 * swell * _pluck(plucks, note + 12, rate_hz, rng),
                )
        if rng.random() < 0.35:
            melody = int(np.clip(melody + rng.integers(-2, 3), 0, len(_SCALE) - 1))
            _add(out, at, 0.3 * swell * _pluck(plucks, _SCALE[melody] + 24, rate_hz, rng))
    room = rng.standard_normal(round(0.5 * rate_hz)) * np.exp(
        -np.arange(round(0.5 * rate_hz)) / (0.09 * rate_hz)
    )
    room = band_pass(room, order=1, corners_hz=(200.0, 5000.0), rate_hz=rate_hz)
    spectrum, omega = transform(out, rings_s=0.5, rate_hz=rate_hz)
    spectrum *= np.fft.rfft(room / np.linalg.norm(room), round(2 * np.pi / omega[1]))
    return np.asarray(out + 0.12 * sounding(spectrum, omega, count))


def _drums(place: int, rate_hz: int, rng: np.random.Generator) -> Array:
    t = np.arange(round(0.35 * rate_hz)) / rate_hz
    hit = rng.uniform(0.05, 0.16) * np.exp(-t / 0.02) * np.diff(rng.standard_normal(t.size + 1))
    if place in (0, 7, 10):
        hit = hit + np.sin(2 * np.pi * (48 * t + 90 * 0.03 * (1 - np.exp(-t / 0.03)))) * np.exp(-t / 0.09)
    if place in (4, 12):
        hit = (
            hit
            + 0.45 * np.exp(-t / 0.07) * rng.standard_normal(t.size)
            + 0.4 * np.exp(-t / 0.05) * np.sin(2 * np.pi * 190 * t)
        )
    onset = np.minimum(1.0, t / 0.0008)
    return np.asarray(hit * onset * np.clip((t[-1] - t) / 0.02, 0, 1))


def _beat(count: int, rate_hz: int, rng: np.random.Generator) -> Array:
    out = np.zeros(count)
    step = _BEAT_S / 4
    for index in range(int(count / rate_hz / step) + 1):
        swell = 10 ** (rng.normal(-2, 2.5) / 20)
        _add(out, round(index * step * rate_hz), swell * _drums(index % 16, rate_hz, rng))
    return out


def _plucked(count: int, rate_hz: int, rng: np.random.Generator) -> Array:
    out = np.zeros(count)
    plucks: dict[int, Array] = {}
    at, end = 0.05, count / rate_hz
    while at < end:
        note = int(rng.choice(_SCALE)) + 12 * int(rng.integers(0, 3))
        _add(out, round(at * rate_hz), 10 ** (rng.uniform(-12, 0) / 20) * _pluck(plucks, note, rate_hz, rng))
        at += _BEAT_S * float(rng.choice((0.25, 0.5, 0.5, 1.5)))
    return out


def _sustained(count: int, rate_hz: int, rng: np.random.Generator) -> Array:
    out = np.zeros(count)
    long = 4 * _BEAT_S
    for bar in range(int(count / rate_hz / long) + 1):
        t = np.arange(round(1.15 * long * rate_hz)) / rate_hz
        swell = np.minimum(1.0, t / 0.25) * np.clip((t[-1] - t) / 0.3, 0, 1)
        swell *= 10 ** (rng.uniform(-10, 0) * np.sin(np.pi * t / t[-1]) ** 2 / 20)
        for note in _CHORDS[bar % 4]:
            pitch_hz = _TONIC_HZ * 2 ** ((note + 12) / 12) * (1 + rng.normal(0, 5e-4))
            sway = 0.004 / 5 * np.sin(2 * np.pi * 5 * t + rng.uniform(0, 6.28))
            turns = pitch_hz * (t + sway / (2 * np.pi))
            orders = np.arange(12, 0, -1)
            overtones = np.exp(1j * rng.uniform(0, 6.28, orders.size)) / orders**1.3
            _add(out, round(bar * long * rate_hz), 0.2 * swell * _stacked(turns, overtones))
    return out


def _stacked(turns: Array, overtones: Complex) -> Array:
    """Sound of a moving fundamental and its overtones, the highest first, a stretch at a time."""
    sound = np.empty(turns.size)
    for first in range(0, turns.size, STRETCH):
        phase = 2 * np.pi * turns[first : first + STRETCH]
        once, stacked = np.cos(phase) + 1j * np.sin(phase), np.zeros(phase.size, complex)
        for overtone in overtones:
            stacked += overtone
            stacked *= once
        sound[first : first + STRETCH] = stacked.imag
    return sound


def _pluck(known: dict[int, Array], semitone: int, rate_hz: int, rng: np.random.Generator) -> Array:
    """Synthesise a string of the given pitch, kept for the next time it is struck."""
    if semitone not in known:
        pitch_hz = _TONIC_HZ * 2 ** (semitone / 12)
        t = np.arange(round(1.6 * rate_hz)) / rate_hz
        orders = np.arange(1, 25)
        hz = pitch_hz * orders * np.sqrt(1 + 2e-4 * orders**2)
        orders, hz = orders[hz < 0.45 * rate_hz], hz[hz < 0.45 * rate_hz]
        decay_s = 0.7 / (1 + 0.25 * orders) * np.sqrt(220 / pitch_hz)
        sizes = np.sin(np.pi * orders * 0.17) / orders * np.exp(1j * rng.uniform(0, 6.28, orders.size))
        rings = 2j * np.pi * hz - 1 / decay_s
        within, blocks = t[:BLOCK], t[::BLOCK]
        starts, steps = sizes * np.exp(np.outer(blocks, rings)), np.exp(np.outer(rings, within))
        note = (starts.real @ steps.real - starts.imag @ steps.imag).ravel()[: t.size]
        known[semitone] = note * np.minimum(1.0, t / 0.002) * np.clip((t[-1] - t) / 0.05, 0, 1)
    return known[semitone]


def _speech(count: int, rate_hz: int, rng: np.random.Generator) -> Array:
    out = np.zeros(count)
    at, end = 0.15, count / rate_hz
    while at < end:
        level = 10 ** (rng.uniform(-9, 0) / 20)
        syllables = int(rng.integers(4, 12))
        base_hz = rng.uniform(105, 150)
        for k in range(syllables):
            pitch_hz = base_hz * (1.15 - 0.3 * k / syllables)
            stress = level * 10 ** (rng.normal(-2, 2.5) / 20)
            if rng.random() < 0.65:
                consonant = _consonant(rate_hz, rng)
                _add(out, round(at * rate_hz), stress * consonant)
                at += 0.8 * consonant.size / rate_hz
            vowel = _vowel(pitch_hz, rate_hz, rng)
            _add(out, round(at * rate_hz), stress * vowel)
            at += 0.85 * vowel.size / rate_hz
        at += rng.uniform(0.25, 0.9)
    breath = band_pass(rng.standard_normal(count), order=1, corners_hz=(150.0, 3000.0), rate_hz=rate_hz)
    return np.asarray(out + 10 ** (-62 / 20) * np.abs(out).max() * breath)


def _vowel(pitch_hz: float, rate_hz: int, rng: np.random.Generator) -> Array:
    size = round(rng.uniform(0.09, 0.24) * rate_hz)
    t = np.arange(size) / rate_hz
    glide = pitch_hz * (1 + rng.uniform(-0.12, 0.12) * t / t[-1] + 0.008 * np.sin(2 * np.pi * 5.5 * t))
    cycle = np.cumsum(glide) / rate_hz % 1.0
    opened = np.where(cycle < 0.6, (cycle / 0.6) ** 2 * (1 - cycle / 0.6), 0.0)  # slow opening, quick closing
    flow = np.diff(opened, prepend=0.0, n=1) * rate_hz / 1000 + 0.002 * rng.standard_normal(size)
    first, second = (_VOWELS_HZ[int(rng.integers(len(_VOWELS_HZ)))] for _ in range(2))
    share = np.clip((t / t[-1] - 0.2) / 0.6, 0, 1)
    spectrum, omega = transform(flow, rings_s=RINGS_S, rate_hz=rate_hz)
    late = np.exp(-1j * omega)  # one sample later
    spectrum *= 1 - 0.85 * late
    one, other = (
        sounding(spectrum * _formants(late, vowel, rate_hz), omega, size) for vowel in (first, second)
    )
    voiced = (1 - share) * one + share * other
    fade = np.minimum(np.clip(t / 0.02, 0, 1), np.clip((t[-1] - t) / 0.04, 0, 1))
    return np.asarray(voiced / np.abs(voiced).max() * np.sin(np.pi / 2 * fade) ** 2)


def _formants(late: Complex, centres_hz: tuple[int, ...], rate_hz: int) -> Complex:
    """Response of a vowel's resonances, one behind the other, where one sample of delay turns by `late`."""
    response = np.ones_like(late)
    for centre_hz in centres_hz:
        radius = np.exp(-np.pi * (50 + 0.04 * centre_hz) / rate_hz)
        middle = -2 * radius * np.cos(2 * np.pi * centre_hz / rate_hz)
        response *= (1 + middle + radius**2) / (1 + late * (middle + radius**2 * late))
    return response


def _consonant(rate_hz: int, rng: np.random.Generator) -> Array:
    size = round(rng.uniform(0.03, 0.11) * rate_hz)
    low_hz = rng.choice([1500.0, 2800.0, 4500.0])
    corners_hz = (low_hz, min(2.2 * low_hz, 0.45 * rate_hz))
    noise = band_pass(rng.standard_normal(size), order=2, corners_hz=corners_hz, rate_hz=rate_hz)
    t = np.arange(size) / rate_hz
    sudden = rng.random() < 0.4
    rise_s, fall_s = (0.001, 0.015) if sudden else (0.03, 0.03)
    fade = np.minimum(np.clip(t / rise_s, 0, 1), np.clip((t[-1] - t) / fall_s, 0, 1))
    shape = np.exp(-t / 0.012) if sudden else np.ones(size)
    return np.asarray(rng.uniform(0.08, 0.3) * noise / np.abs(noise).max() * fade * shape)
