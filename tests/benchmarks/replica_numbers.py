"""Numbers of drawn compressors whose structure is known, without the search: errors in standard errors.

``python -m tests.benchmarks.replica_numbers --rate HZ [--recipe short] SEED...``; starts lie off the truth at random.
"""

from __future__ import annotations

import argparse
from dataclasses import replace

import numpy as np

from charprobe.files.sound.source import MemoryCapture
from charprobe.placing.take import place_take
from charprobe.placing.track import Track
from charprobe.replica.fitting.heard import Memory, hear
from charprobe.replica.fitting.pair import Pair
from charprobe.replica.fitting.proof import prove_on_programme
from charprobe.replica.fitting.search import fit_cell
from charprobe.replica.fitting.stretches import stretches_of
from charprobe.replica.fitting.structures import Structure
from charprobe.replica.parts import Bend, Cell, Chain, Detector, Smoothing
from charprobe.stimulus.render import lay_out, render
from tests.benchmarks.replica_bench import DOWN_DB, recipe_called
from tests.benchmarks.zoo.rig import Recorder
from tests.simulation.drawn import draw_compressor


def row(seed: int, *, recipe: str, rate_hz: int) -> str:
    """Fit one device and set its numbers beside the truth."""
    rng = np.random.default_rng(seed)
    device = draw_compressor(rng)
    stimulus = lay_out(recipe_called(recipe), rate_hz=rate_hz, take=1)
    played = render(stimulus)
    sounds = (device.process(played, rate_hz=rate_hz, rng=rng).samples, played)
    recorder = Recorder(noise_dbfs=-110.0)
    wet, dry = (
        place_take(
            Track(
                MemoryCapture(
                    recorder.record(10 ** (DOWN_DB / 20) * sound, rate_hz=rate_hz, seed=number),
                    rate_hz=rate_hz,
                ),
                0,
                stimulus,
            )
        )
        for number, sound in enumerate(sounds)
    )
    pair, bend, off = Pair(wet, dry), device.bends[0], np.random.default_rng(seed + 1).standard_normal(3)
    true = Cell(
        Detector("envelope"),
        (Bend(bend.threshold_dbfs + DOWN_DB, bend.slope, bend.knee_db),),
        Smoothing(attack_s=device.attack_s, release_s=device.release_s),
        makeup_db=device.makeup_db,
    )
    start = replace(
        true,
        bends=(replace(true.bends[0], threshold_dbfs=true.bends[0].threshold_dbfs + off[0]),),
        smoothing=replace(
            true.smoothing,
            attack_s=device.attack_s * np.exp(0.3 * off[1]),
            release_s=device.release_s * np.exp(0.1 * off[2]),
        ),
    )
    stretches = stretches_of(pair.wet, threshold_dbfs=true.bends[0].threshold_dbfs)
    memory, noise = Memory(device.attack_s, device.release_s), pair.noise(gain_db=device.makeup_db)
    heard, held_out = (
        hear(pair.seal(), [one for one in stretches if one.use in uses], memory=memory, noise=noise)
        for uses in (("search", "fit"), ("held out",))
    )
    fitted = fit_cell(Structure(), start, heard, held_out, rate_hz=rate_hz, turns=8)
    proved = prove_on_programme(Chain(cell=fitted.cell), pair, noise=noise)
    assert proved is not None
    score = fitted.solution.score
    lack = max(1.0, fitted.held_out / score, proved.score / score)
    truth = (true.makeup_db, *(getattr(true.bends[0], key) for key in ("threshold_dbfs", "slope", "knee_db")),
             np.log(device.attack_s), np.log(device.release_s))  # fmt: skip
    errors = np.sqrt(np.diag(fitted.solution.covariance))[:6] * lack
    apart = (fitted.solution.values[:6] - np.array(truth)) / np.maximum(errors, 1e-12)
    return (
        f"| {seed}, {rate_hz} Hz | {proved.proof.residual_db:.1f} | {proved.proof.noise_db:.1f} | "
        f"{proved.proof.gain_error_db:.4f} | {' | '.join(f'{one:.1f}' for one in apart)} |"
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("seeds", type=int, nargs="+")
    parser.add_argument("--rate", type=int, default=48_000)
    parser.add_argument("--recipe", default="short")
    asked = parser.parse_args()
    for seed in asked.seeds:
        print(row(seed, recipe=asked.recipe, rate_hz=asked.rate), flush=True)


if __name__ == "__main__":
    main()
