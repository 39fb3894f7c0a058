"""The ident: an audible code that says which recipe and which take a capture holds, whatever its file's name.

Twelve tones of 50 ms follow each other without a gap, each one of sixteen frequencies: four bits a tone, 24
bits of the recipe's hash, 8 of the take number and a 16-bit checksum. The envelope is constant, so neither a
compressor nor gain, polarity, a mono fold, 16 bits or a change of the sampling rate touches the code.
"""

from __future__ import annotations

import re
from binascii import crc_hqx
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from charprobe.values.arrays import Array

SYMBOLS = 12
SYMBOL_S = 0.05
IDENT_S = SYMBOLS * SYMBOL_S
LOW_HZ, SPACING_HZ = 800.0, 180.0  # whole numbers of cycles in SYMBOL_S: the phase runs on from tone to tone
TONES_HZ = LOW_HZ + SPACING_HZ * np.arange(16)
TAPER_S = 0.005
HASH_DIGITS = 6
LAST_TAKE = 255
HOP_S = 0.005
WINDOW_S = 0.04  # inside a symbol, so 5 ms of misplacement cost nothing
LEAST_PURITY = 0.5  # share of the band's energy that the strongest tone must carry in every window
LEAST_LEVEL = 1e-6  # of the strongest tone heard: what is 60 dB below is leakage, not code
ATTEMPTS = 8  # different codes tried; each one passes the checksum by chance once in 2**16
MISREAD_PROBABILITY = ATTEMPTS / 2**16


@dataclass(frozen=True)
class IdentReading:
    """What an ident said: first six hex digits of the recipe's hash, and the take number, 0 to 255.

    `start_s` is where the code starts in the samples given, to about 5 ms.
    """

    recipe_hash_prefix: str
    take: int
    start_s: float


def ident_length(rate_hz: float) -> int:
    """Length of a rendered ident in samples."""
    return round(IDENT_S * rate_hz)


def render_ident(recipe_hash_prefix: str, take: int, *, rate_hz: float, level_dbfs: float) -> Array:
    """Render the code of a recipe, by six small hex digits, and of a take, 0 to 255.

    Shape ``(ident_length(rate_hz),)``, full scale = 1; `ValueError` if prefix or take cannot be coded.
    """
    if not re.fullmatch(f"[0-9a-f]{{{HASH_DIGITS}}}", recipe_hash_prefix):
        raise ValueError(
            f"recipe_hash_prefix is {recipe_hash_prefix!r}: {HASH_DIGITS} small hex digits are needed"
        )
    if not 0 <= take <= LAST_TAKE:
        raise ValueError(f"take is {take}: 0 to {LAST_TAKE} can be coded")
    time_s = np.arange(ident_length(rate_hz)) / rate_hz
    symbols = np.array(ident_symbols(recipe_hash_prefix, take))
    tone_hz = TONES_HZ[symbols[np.minimum((time_s / SYMBOL_S).astype(int), SYMBOLS - 1)]]
    edge = np.clip(np.minimum(time_s, IDENT_S - time_s) / TAPER_S, 0.0, 1.0)
    amplitude = 10 ** (level_dbfs / 20)
    return np.asarray(
        amplitude * np.sin(np.pi / 2 * edge) ** 2 * np.sin(2 * np.pi * tone_hz * (time_s % SYMBOL_S))
    )


def read_ident(samples: Array, *, rate_hz: float) -> IdentReading | None:
    """Read the code in a stretch of one channel.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        A stretch that holds the whole code, up to a few seconds long; the code may start anywhere in it.
    rate_hz : float
        Sampling rate in Hz; may be any, not only that of the rendering.

    Returns
    -------
    IdentReading or None
        None where no code with a valid checksum stands out.

    Notes
    -----
    The energy on each tone is taken every 5 ms in 40 ms windows. Placements whose twelve windows are pure are
    tried against the checksum, the purest first, until `ATTEMPTS` different codes failed. Sound that is no
    ident passes with probability `MISREAD_PROBABILITY` (about 1.2e-4) at most, and only if one of the sixteen
    tones carries at least half of the energy in every window.

    Examples
    --------
    >>> sound = render_ident("09af3c", 7, rate_hz=48_000, level_dbfs=-76)
    >>> reading = read_ident(sound, rate_hz=44_100 * 48_000 / 44_100)
    >>> reading.recipe_hash_prefix, reading.take
    ('09af3c', 7)
    """
    energy, total = _tone_energies(np.asarray(samples, dtype=np.float64), rate_hz=rate_hz)
    stride = round(SYMBOL_S / HOP_S)
    placements = energy.shape[0] - stride * (SYMBOLS - 1)
    if placements < 1:
        return None
    frames = np.arange(placements)[:, None] + stride * np.arange(SYMBOLS)
    best = energy.max(axis=1)
    heard = best > LEAST_LEVEL * max(float(best.max()), np.finfo(float).tiny)
    share = np.where(heard, best / np.maximum(total, np.finfo(float).tiny), 0.0)[frames]
    symbols = energy.argmax(axis=1)[frames]
    tried: set[tuple[int, ...]] = set()
    pure = np.flatnonzero(share.min(axis=1) >= LEAST_PURITY)
    for place in pure[np.argsort(-share[pure].mean(axis=1), kind="stable")]:
        code = tuple(symbols[place].tolist())
        if code in tried:
            continue
        tried.add(code)
        if len(tried) > ATTEMPTS:
            break
        decoded = decode_symbols(code)
        if decoded is not None:
            start_s = float(place) * HOP_S - (SYMBOL_S - WINDOW_S) / 2
            return IdentReading(*decoded, start_s=start_s)
    return None


def _tone_energies(samples: Array, *, rate_hz: float) -> tuple[Array, Array]:
    """Energy on each tone, (frames, 16), and in the whole band, (frames,), every `HOP_S`."""
    size = round(WINDOW_S * rate_hz)
    hops = max(0, int((samples.size - size) / rate_hz / HOP_S) + 1)
    starts = np.round(HOP_S * rate_hz * np.arange(hops)).astype(int)
    starts = starts[starts + size <= samples.size]
    if starts.size == 0:
        return np.zeros((0, TONES_HZ.size)), np.zeros(0)
    window = np.hanning(size)
    frames = np.lib.stride_tricks.sliding_window_view(samples, size)[starts] * window
    turned = 2 * np.pi / rate_hz * np.outer(np.arange(size), TONES_HZ)
    energy = (frames @ np.cos(turned)) ** 2 + (frames @ np.sin(turned)) ** 2
    bins_hz = np.fft.rfftfreq(size, 1 / rate_hz)
    band = (bins_hz >= TONES_HZ[0] - SPACING_HZ / 2) & (bins_hz <= TONES_HZ[-1] + SPACING_HZ / 2)
    in_band = np.abs(np.fft.rfft(frames)[:, band]) ** 2
    bins = float(np.sum(window**2)) * size / float(np.sum(window)) ** 2  # that the energy of one tone fills
    return energy, in_band.sum(axis=1) / bins


def ident_symbols(recipe_hash_prefix: str, take: int) -> list[int]:
    """Number of each tone, 0 to 15, in the code of a recipe and take."""
    payload = bytes.fromhex(recipe_hash_prefix) + bytes([take])
    code = payload + _checksum(payload).to_bytes(2, "big")
    return [nibble for byte in code for nibble in (byte >> 4, byte & 15)]


def decode_symbols(symbols: Sequence[int]) -> tuple[str, int] | None:
    """Recipe and take of the tones of a code; None where its checksum is wrong."""
    code = bytes(high << 4 | low for high, low in zip(symbols[::2], symbols[1::2], strict=True))
    payload, check = code[:4], int.from_bytes(code[4:], "big")
    return (payload[:3].hex(), payload[3]) if _checksum(payload) == check else None


def _checksum(payload: bytes) -> int:
    """CRC-16 with polynomial x^16 + x^12 + x^5 + 1, start value 0xFFFF."""
    return crc_hqx(payload, 0xFFFF)
