"""How often verdicts on pairs of simulated units are wrong: measured from captures, truth from what was built in.

Run ``python -m tests.benchmarks.verdict_bench`` from the repository's top; ``--write`` puts the table into
``docs/accuracy/verdicts.md``. Half of all differences lie within a tenth of the margin beside it, where a wrong verdict is
likeliest.
"""

from __future__ import annotations

import argparse
from collections import Counter
from concurrent.futures import ProcessPoolExecutor

import numpy as np
from numpy.typing import NDArray

from charprobe.comparing.compare import compare_profiles
from charprobe.comparing.curves import MARGINS
from charprobe.estimators.timing.trace.phase_set import bursts_of
from charprobe.files.sound.source import MemoryCapture
from charprobe.measuring.characterise import characterise
from charprobe.profile.profile import Profile
from charprobe.simulation.devices.chain import Wire
from charprobe.simulation.devices.dynamics.compressor import Compressor
from charprobe.simulation.devices.parts.gain_computer import Bend
from charprobe.simulation.devices.stage import Stage
from charprobe.simulation.rig.rig import Rig
from charprobe.stimulus.kinds.bursts import Bursts
from charprobe.stimulus.kinds.level_steps import LevelSteps
from charprobe.stimulus.recipe import Recipe
from charprobe.stimulus.render import lay_out, render
from tests.benchmarks.written import write_section

RATE_HZ = 48_000
RECIPE = Recipe(
    "verdicts",
    "static curve and reference bursts",
    (
        LevelSteps("steps", 997.0, -50.0, -2.0, 3.0, 0.25, True, gap_s=1.0),
        Bursts("reference", 3989.0, 3, -40.0, -4.0, 0.15, 0.2, 0.7, reference=True),
    ),
)
CURVES = ("static curve", "static curve, anchored", "attack trace", "release trace")
NAMES = ("static.threshold", "static.slope", "static.makeup_gain", "attack.t63", "release.t63")
REPEATS = 2


def unit(rng: np.random.Generator) -> dict[str, float]:
    """Built-in values of a random unit, by the name of the quantity that reads them."""
    return {
        "static.threshold": rng.uniform(-30, -18),
        "static.slope": rng.uniform(0.15, 0.5),
        "static.makeup_gain": rng.uniform(0, 3),
        "attack.t63": 10 ** rng.uniform(-3, -2),
        "release.t63": 10 ** rng.uniform(-1.5, -1),
    }


def other_unit(one: dict[str, float], rng: np.random.Generator) -> tuple[dict[str, float], dict[str, float]]:
    """A second unit, and by how many margins each of its values is off."""
    values, shares = dict(one), {}
    for name in NAMES:
        near = float(rng.uniform(0.9, 1.1))
        share = float(rng.choice([0.0, near, rng.uniform(0, 2)], p=[0.25, 0.5, 0.25]) * rng.choice([-1, 1]))
        margin = MARGINS[name]
        values[name] = (
            one[name] * margin.size**share if margin.scale == "ratio" else one[name] + share * margin.size
        )
        shares[name] = share
    return values, shares


def unit_bend(values: dict[str, float]) -> Bend:
    return Bend(values["static.threshold"], values["static.slope"], 4.0)


def built(values: dict[str, float]) -> Stage:
    return Compressor(
        "unit",
        "a unit",
        (unit_bend(values),),
        attack_s=values["attack.t63"],
        release_s=values["release.t63"],
        makeup_db=values["static.makeup_gain"],
    )


def profile_of(stage: Stage, bypass: MemoryCapture | None, name: str, rng: np.random.Generator) -> Profile:
    return characterise(
        captured(stage, name, rng),
        lay_out(RECIPE, rate_hz=RATE_HZ, take=1),
        channel=1,
        setting=name,
        bypass=bypass,
    )


def captured(stage: Stage, name: str, rng: np.random.Generator) -> MemoryCapture:
    sound = render(lay_out(RECIPE, rate_hz=RATE_HZ, take=1))
    rig = Rig(
        gain_db=-6.0,
        delay_samples=float(rng.uniform(0, 300)),
        noise_dbfs=float(rng.uniform(-112, -90)),
        drift_ppm=float(rng.uniform(-50, 50)),
        ac_corner_hz=2.0,
        bits=24,
        lead_s=0.2,
        tail_s=0.1,
    )
    samples = rig.record(stage.process(sound, rate_hz=RATE_HZ, rng=rng).samples, rate_hz=RATE_HZ, rng=rng)
    return MemoryCapture(samples, rate_hz=RATE_HZ, name=f"{name}.wav")


def judge_pair(seed: int) -> list[tuple[str, float, str]]:
    """Quantity, share of its margin that the units truly differ by, and verdict, for one pair."""
    rng = np.random.default_rng([77, seed])
    one = unit(rng)
    other, shares = other_unit(one, rng)
    bypass = captured(Wire("off", "off"), "off", rng)
    profiles = [
        profile_of(built(values), bypass, name, rng)
        for name, values in (("one", one), ("other", other))
        for _ in range(REPEATS)
    ]
    found = {item.name: item.verdict for item in compare_profiles(profiles).differences}
    shares |= curve_shares(one, other)
    return [(name, shares[name], found[name]) for name in (*NAMES, *CURVES)]


def curve_shares(one: dict[str, float], other: dict[str, float]) -> dict[str, float]:
    """By how many margins each curve of two units is off at most, from their own gains."""
    levels = np.arange(-50.0, -1.9, 3.0)
    static = [
        values["static.makeup_gain"] - unit_bend(values).reduction_db(levels) for values in (one, other)
    ]
    apart = {
        "static curve": static[1] - static[0],
        "static curve, anchored": (static[1] - static[1][0]) - (static[0] - static[0][0]),
    }
    traces = [own_traces(built(values)) for values in (one, other)]
    for edge in ("attack", "release"):
        apart[f"{edge} trace"] = traces[1][edge] - traces[0][edge]
    return {name: float(np.abs(apart[name]).max()) / MARGINS[name].size for name in CURVES}


def own_traces(stage: Stage) -> dict[str, NDArray[np.float64]]:
    """The gain that a unit itself applied around the edges of the reference burst, less that at rest."""
    stimulus = lay_out(RECIPE, rate_hz=RATE_HZ, take=1)
    gain_db = stage.process(render(stimulus), rate_hz=RATE_HZ, rng=np.random.default_rng(0)).gain_db
    bursts = bursts_of(stimulus.segments[-1].tones)
    reach = {"attack": bursts[0].hold.length, "release": bursts[0].release.length}
    starts = {
        "attack": [burst.hold.start for burst in bursts],
        "release": [burst.release.start for burst in bursts],
    }
    rest_db = np.mean([gain_db[start - 10] for start in starts["attack"]])
    return {
        edge: np.mean([gain_db[start - 10 : start + reach[edge]] for start in starts[edge]], axis=0) - rest_db
        for edge in reach
    }


def report(pairs: list[list[tuple[str, float, str]]]) -> str:
    wrong_same = sum(any(v == "same" and abs(s) > 1 for _, s, v in pair) for pair in pairs)
    wrong_different = sum(any(v == "different" and abs(s) <= 1 for _, s, v in pair) for pair in pairs)
    lines = [
        "| quantity or curve | truly inside | said same | said different | truly outside | said same | said different |"
    ]
    lines.append("|---|---|---|---|---|---|---|")
    for name in (*NAMES, *CURVES):
        inside = Counter(v for pair in pairs for n, s, v in pair if n == name and abs(s) <= 1)
        outside = Counter(v for pair in pairs for n, s, v in pair if n == name and abs(s) > 1)
        cells = [name]
        for counts in (inside, outside):
            cells += [str(counts.total()), str(counts["same"]), str(counts["different"])]
        lines.append(f"| {' | '.join(cells)} |")
    return "\n\n".join(
        [
            f"{len(pairs)} pairs of simulated units, {REPEATS} captures of each through rigs of random noise, clock and delay; "
            f"{len(NAMES)} quantities that differ by 0 to 2 margins, half of them by 0.9 to 1.1, and {len(CURVES)} curves, whose "
            "truth is the largest difference of the units' own gains. "
            f'Pairs with a wrong "same" '
            f'among them: {wrong_same} ({100 * wrong_same / len(pairs):.1f} %); with a wrong "different": {wrong_different} '
            f"({100 * wrong_different / len(pairs):.1f} %); stated is at most 5 % of pairs for each.",
            "\n".join(lines),
        ]
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--pairs", type=int, default=300)
    parser.add_argument("--write", action="store_true", help="put the table into docs/accuracy/verdicts.md")
    options = parser.parse_args()
    with ProcessPoolExecutor(max_workers=2) as pool:
        pairs = list(pool.map(judge_pair, range(options.pairs), chunksize=4))
    text = report(pairs)
    print(text)
    if options.write:
        write_section(
            "verdicts", "Verdicts on pairs", "python -m tests.benchmarks.verdict_bench --write", text
        )


if __name__ == "__main__":
    main()
