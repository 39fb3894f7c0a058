"""Where an excerpt lies in a file, by onsets: those of `listening/aligning/onsets.py` beside librosa's.

Both give a curve over time that the same correlation places. Made material goes through stages that move gain and
colour; an excerpt is right within two hops. What unrelated sound scores tells how much the score can be trusted.

    python -m tests.benchmarks.onset_bench
"""

import time
from collections.abc import Callable

import librosa
import numpy as np
from scipy.signal import butter, sosfilt

from charprobe.files.sound.source import MemoryCapture
from charprobe.listening.aligning.onsets import HOP, LARGEST, activity, locate
from charprobe.simulation.devices.catalogue import make_stage
from charprobe.stimulus.kinds.material import generate

RATE_HZ, WHOLE_S, BANDS = 48_000, 30.0, 6
SEEDS, LENGTHS_S = range(4), (1.0, 4.0)
STAGES: dict[str, Callable[[np.ndarray], np.ndarray]] = {
    "compressor": lambda x: through("smooth-level-hard", 4 * x),
    "leveller": lambda x: through("optical-leveller", x),
    "saturation": lambda x: np.tanh(6 * x),
    "band cut": lambda x: sosfilt(butter(2, [300, 3000], "bandpass", fs=RATE_HZ, output="sos"), x),
    "noise": lambda x: x + 0.1 * np.std(x) * np.random.default_rng(9).normal(size=x.size),
}


def through(name: str, samples: np.ndarray) -> np.ndarray:
    """Send samples through a reference stage."""
    return make_stage(name).process(samples, rate_hz=RATE_HZ, rng=np.random.default_rng(1)).samples


def ours(samples: np.ndarray) -> np.ndarray:
    """Changes of the log level of six bands."""
    return activity(MemoryCapture(samples, rate_hz=RATE_HZ), 0, samples.size)


def one_curve(samples: np.ndarray) -> np.ndarray:
    """librosa's onset strength: the mean rise of mel bands."""
    curve = librosa.onset.onset_strength(y=samples, sr=RATE_HZ, hop_length=HOP, n_fft=512, n_mels=64)
    return limited(curve[:, None])


def six_curves(samples: np.ndarray) -> np.ndarray:
    """librosa's onset strength in six groups of mel bands."""
    edges = np.linspace(0, 64, BANDS + 1).astype(int).tolist()
    curves = librosa.onset.onset_strength_multi(
        y=samples, sr=RATE_HZ, hop_length=HOP, n_fft=512, n_mels=64, channels=edges
    )
    return limited(curves.T)


def limited(rises: np.ndarray) -> np.ndarray:
    """Curves less their means, of unit power each and limited, as ours are."""
    rises = rises - rises.mean(axis=0)
    usual = np.sqrt(np.mean(rises**2, axis=0, keepdims=True)) + 1e-30
    return np.clip(rises / usual, -LARGEST, LARGEST)


def main() -> None:
    """Print how often each is right, the scores of right and of unrelated places, and what a minute costs."""
    ways = {"ours": ours, "librosa, one curve": one_curve, "librosa, six curves": six_curves}
    right = {(way, stage): [] for way in ways for stage in STAGES}
    found, unrelated, spent = {way: [] for way in ways}, {way: [] for way in ways}, dict.fromkeys(ways, 0.0)
    for kind in ("music", "speech"):
        sounds = [
            generate(kind, seconds=WHOLE_S, rate_hz=RATE_HZ, rng=np.random.default_rng(seed))
            for seed in SEEDS
        ]
        for seed, sound in enumerate(sounds):
            places = np.random.default_rng(seed).uniform(0, WHOLE_S - max(LENGTHS_S), len(STAGES))
            for (stage, process), at_s in zip(STAGES.items(), places, strict=True):
                hay_sound, first = process(sound), round(at_s * RATE_HZ)
                for way, curves in ways.items():
                    begun = time.perf_counter()
                    hay = curves(hay_sound)
                    spent[way] += time.perf_counter() - begun
                    for length_s in LENGTHS_S:
                        needle = curves(sound[first : first + round(length_s * RATE_HZ)])
                        lag, score = locate(needle, hay)
                        good = abs(lag - first) <= 2 * HOP
                        right[way, stage].append(good)
                        if good:
                            found[way].append(score)
                        other = curves(sounds[seed - 1][first : first + round(length_s * RATE_HZ)])
                        unrelated[way].append(locate(other, hay)[1])
    count = len(SEEDS) * 2 * len(STAGES)
    print(
        f"{'':22}" + "".join(f"{stage:>12}" for stage in STAGES) + "   right/unrelated score   s per minute"
    )
    for way in ways:
        shares = "".join(f"{100 * np.mean(right[way, stage]):11.0f}%" for stage in STAGES)
        scores = f"{np.percentile(found[way], 5):6.1f} / {np.percentile(unrelated[way], 95):4.1f}"
        print(f"{way:22}{shares}   {scores:>15}   {spent[way] / count * 60 / WHOLE_S:16.2f}")


if __name__ == "__main__":
    main()
