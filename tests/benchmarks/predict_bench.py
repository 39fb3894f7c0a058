"""What `predict` says of a setting against what the effect itself does to the same material.

``python -m tests.benchmarks.predict_bench [--effect NAME...] [--write]``: effects that are not ours are captured and fitted, then every built-in
material is sent through the effect at three drives; reduction, attacks, time to let go, crest and loudness are read from dry and
processed sound by code of this file, and the sentence that follows from these is held against the one that was said.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from dataclasses import replace
from itertools import pairwise

import numpy as np
from scipy.signal import bilinear, lfilter

from charprobe.replica.fitting.fit import fit_replica
from charprobe.replica.model import Replica
from charprobe.replica.predict import DRIVES_DBFS, KINDS, RATE_HZ, Prediction, made_up, predict_sound
from charprobe.replica.words import sentence
from charprobe.stimulus.render import lay_out, render
from charprobe.values.arrays import Array
from tests.benchmarks.replica_bench import DOWN_DB, recipe_called, recorded
from tests.benchmarks.written import write_section
from tests.benchmarks.zoo.catalogue import stages
from tests.benchmarks.zoo.stage import Stage

EFFECTS = ("ffmpeg-acompressor-1", "cmt-compress-peak-1", "sox-compand-1", "swh-sc4m-1")
CLIPS = ("sox-compand-1",)  # beyond full scale, where others go on
CELL, STEP = 240, 48  # 5 ms over which a gain is read, every ms
SHELF, CUT = (1681.974, 3.99984, 0.7071752), (38.13547, 0.5003270)  # of the open standard's loudness filter


def fitted(stage: Stage) -> Replica:
    """A replica of an effect, captured with `DOWN_DB` at the recorder."""
    stimulus = lay_out(recipe_called("short"), rate_hz=RATE_HZ, take=1)
    played = render(stimulus)
    wet, bypass = recorded(stage.process(played, RATE_HZ).sound, played, rate_hz=RATE_HZ)
    return fit_replica(wet, stimulus, bypass=bypass, channel=1, setting=stage.name).replica


def truth(said: Prediction, dry: Array, wet: Array, rest_db: float) -> Prediction:
    """The same prediction with numbers read from dry and processed sound alone."""
    starts = np.arange(0, dry.size - CELL, STEP)
    power = [np.concatenate([[0.0], np.cumsum(x**2)]) for x in (dry, wet)]
    fed, out = (np.maximum(p[starts + CELL] - p[starts], 1e-14) for p in power)
    reduction = rest_db - 10 * np.log10(out / fed)
    peaks = np.array([np.abs(dry[max(0, at - 912) : at + STEP]).max() for at in starts])  # of the last 20 ms
    loud = 20 * np.log10(peaks + 1e-12)
    sounding = loud > loud.max() - 40
    heard = reduction[sounding & (10 * np.log10(fed / CELL) > loud.max() - 60)]
    onsets = []
    for k in np.flatnonzero((loud[10:] > loud[:-10] + 9) & (loud[10:] > loud.max() - 25)) + 10:
        if not onsets or k - onsets[-1] > 120:
            onsets.append(int(k))
    ms = [np.maximum(p[starts + STEP] - p[starts], 1e-14) for p in power]
    changes, let_go = [], (0.0, None)
    for k in onsets:
        moved = reduction[k : k + 110].max() - reduction[max(k - 20, 0)] if k + 110 < starts.size else 0.0
        if moved > 1:
            shares = [10 * np.log10(side[k : k + 10].sum() / side[k + 60 : k + 110].sum()) for side in ms]
            changes.append((shares[1] - shares[0], (shares[1] - shares[0]) / moved))
    for k, stop in pairwise([*onsets, starts.size]):
        after, before = reduction[k:stop], reduction[max(k - 20, 0)]
        top = int(np.argmax(after))
        under = np.flatnonzero(after[top:] < (before + after[top]) / 2)
        if after[top] - before > max(1.0, let_go[0]) and under.size:
            let_go = after[top] - before, 1e-3 * float(top + under[0])
    through, share = np.median(changes, axis=0).tolist() if len(changes) >= 3 else (None, None)
    crest = [20 * np.log10(np.abs(x).max() / np.sqrt(np.mean(x**2))) for x in (dry, wet)]
    return replace(
        said, mean_db=float(heard.mean()), typical_db=float(np.median(heard)), most_db=float(heard.max()),
        crest_change_db=float(crest[1] - crest[0]), loudness_change_lu=_loudness(wet) - _loudness(dry),
        attack_through_db=through, attack_share=share,
        swing_db=float(np.subtract(*np.quantile(heard, [0.9, 0.1]))), let_go_s=let_go[1],
    )  # fmt: skip


def _loudness(x: Array) -> float:
    """Integrated loudness by the open standard, gated; of one channel."""
    for numerator, denominator in _weighting():
        x = lfilter(numerator, denominator, x)
    size, hop = round(0.4 * RATE_HZ), round(0.1 * RATE_HZ)
    powers = np.array([np.mean(x[at : at + size] ** 2) for at in range(0, x.size - size + 1, hop)])
    powers = powers[-0.691 + 10 * np.log10(powers + 1e-20) > -70]
    powers = powers[10 * np.log10(powers) > 10 * np.log10(powers.mean()) - 10]
    return float(-0.691 + 10 * np.log10(powers.mean()))


def _weighting() -> Iterator[tuple[Array, Array]]:
    (hz, gain_db, q), (low_hz, low_q) = SHELF, CUT
    high = 10 ** (gain_db / 20)
    for corner, poles_q, top in (
        (hz, q, (high, high**0.4996667741545416 / q, 1.0)),
        (low_hz, low_q, (1.0, 0.0, 0.0)),
    ):
        w = 2 * RATE_HZ * np.tan(np.pi * corner / RATE_HZ)
        yield bilinear([top[0], top[1] * w, top[2] * w**2], [1, w / poles_q, w**2], RATE_HZ)


def rows(names: list[str]) -> Iterator[str]:
    yield "| effect | proof | mean | most | swing | crest | loudness | attacks | let go | sentences that differ |"
    yield "|---|---|---|---|---|---|---|---|---|---|"
    for name in names:
        stage = stages()[name]
        replica = fitted(stage)
        off: dict[str, list[float]] = {}
        differing, count = [], 0
        for material, kind in KINDS:
            for drive in DRIVES_DBFS:
                dry = 10 ** (drive / 20) * made_up(kind)
                if drive - DOWN_DB > 0 and name in CLIPS:
                    continue  # the effect would be driven beyond full scale
                rest = np.zeros(round(stage.calm_s * RATE_HZ))
                fed = np.append(rest, dry) * 10 ** (-DOWN_DB / 20)
                wet = 10 ** (DOWN_DB / 20) * stage.process(fed, RATE_HZ).sound[rest.size :]
                said = predict_sound(replica, dry[:, None], rate_hz=RATE_HZ, material=material)
                true = truth(said, dry, wet, replica.chain.cell.makeup_db)
                count += 1
                for key in (
                    "mean_db",
                    "most_db",
                    "swing_db",
                    "crest_change_db",
                    "loudness_change_lu",
                    "attack_through_db",
                    "let_go_s",
                ):
                    one, other = getattr(said, key), getattr(true, key)
                    if (one is None) != (other is None):
                        differing.append(f"{key} {one} for {other}, {material} {drive:g}")
                    elif one is not None:
                        apart = one / other - 1 if key == "let_go_s" else one - other
                        off.setdefault(key, []).append(apart)
                if sentence(said) != sentence(true):
                    differing.append(f"said: {sentence(said)} read: {sentence(true)}")
        worst = [
            f"{max(one, key=abs):+.2f}" + (" (of it)" if key == "let_go_s" else "")
            for key, one in off.items()
        ]
        yield (
            f"| {name} | {replica.proofs[0].residual_db:.0f} dB | {' | '.join(worst)} | {len(differing)} of {count} |"
        )
        for line in differing:
            yield f"<!-- {line} -->"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--effect", nargs="*", default=list(EFFECTS))
    parser.add_argument("--write", action="store_true", help="put the table into docs/accuracy/replica.md")
    asked = parser.parse_args()
    lines = []
    for line in rows(asked.effect):
        print(line, flush=True)
        lines.append(line)
    if asked.write:
        command = "python -m tests.benchmarks.predict_bench --write"
        shown = "\n".join(line for line in lines if not line.startswith("<!--"))
        write_section("replica", "Predictions against the effects themselves", command, shown)


if __name__ == "__main__":
    main()
