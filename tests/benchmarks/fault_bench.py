"""Faulty captures: told by their family's name, or every published number still holds its truth?

Run ``python -m tests.benchmarks.fault_bench`` from the repository's top: one screen. ``--write`` puts the whole
matrix into ``docs/accuracy/faults.md``; ``--clean N`` judges N clean captures through varied rigs as well. Faults are
injected by code that shares nothing with the detectors; truth is a stage's closed form or its own gain trace, and
the clean twin of the capture (same noise, no fault) for what has neither.
"""

from __future__ import annotations

import argparse
import json
from collections import defaultdict
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np
from scipy import signal

from charprobe.files.sound.source import MemoryCapture
from charprobe.measuring.characterise import characterise, characterise_judged
from charprobe.measuring.health.judge import Judged, judge_capture, judge_pair
from charprobe.profile.entry import Entry, numbers
from charprobe.profile.profile import Profile
from charprobe.rehearsal.selftest import burst_truth
from charprobe.simulation.devices.catalogue import make_stage, stage_names
from charprobe.simulation.rig.rig import Rig, quantise
from charprobe.stimulus.recipe import load_recipe
from charprobe.stimulus.render import lay_out, render
from charprobe.values.errors import CharprobeError
from charprobe.values.quantity import Quantity
from tests.benchmarks.bench_faults import BENCH_FAULTS
from tests.benchmarks.fault_cases import (
    BYPASS,
    OF_BOTH_ONLY,
    RATE_HZ,
    Case,
    capture,
    cases,
    pair_of,
    pairs,
    recorded,
    stimulus_of,
)
from tests.benchmarks.written import write_section
from tests.benchmarks.zoo.catalogue import stages

DEVICES = ("smooth-gain-hard", "feedforward-rms-hard", "exact-colour")
RECIPES = ("quick", "standard")
CLEAN_RATES_HZ = (44_100, 48_000, 96_000)
# a 95 % interval may miss by chance; four standard uncertainties are missed by chance once in 16 000
BEYOND = 0.5  # interval widths outside the interval: four standard uncertainties from the value
# of response points, four standard uncertainties of the difference; what is finer than the goal is no harm
POINT_SIGMAS, POINT_GOAL_DB = 4.0, 0.02
FAMILY = {  # codes that name a fault rightly, where its own name is not the code
    "added-silence": {"added-silence", "gap-edited", "timing-jump"},
    "clipped-below-full-scale": {"clipped-below-full-scale", "normalised"},  # "or cut off there?"
    "diffuse-tail": {"two-paths", "diffuse-tail"},
    "edges-faded": {"start-missing", "truncated"},
    "foreign-noise": {"foreign-noise", "low-level"},
    "gain-step": {"gain-step", "level-drift"},  # between tones: "the level drifted or stepped"
    "music": {"spur", "foreign-noise"},
    "noise-suppressor": {"automatic-gain", "idle-mute"},
    "copied-bypass": {"equals-other-capture", "swapped-roles", "automatic-gain"},
    "bypass-of-another-day": {"other-path"},
    "path-ahead": {"two-paths"},
    "played in 16 bits": {"few-bits"},
    "rate-converted-line": {"rate-converted"},
    "rate-converted-short": {"rate-converted"},
    "rate-converted-twice": {"rate-converted"},
    "ring-tone": {"spur"},
    "setting-changed": {"gain-step", "level-drift", "timing-jump", "dropout"},
    "swinging-noise": {"spur", "foreign-noise"},
    "timing-repeat": {"timing-jump", "dropout"},
    "timing-jump": {"timing-jump", "dropout"},
    "wow": {"clock-drift"},
    "older-stimulus": {"wrong-stimulus"},
    "wrong-take": {"wrong-stimulus"},
}
# codes that speak of the stage, not of the capture
OF_THE_STAGE = {
    "unsettled", "output-saturated", "gap-too-short", "below-resolution", "never-compresses", "always-compresses",
    "expander", "upward-compression", "second-bend", "history-dependent",
}  # fmt: skip
STEADY = {"foreign-noise", "rumble", "ripple"}
RANKS = ("mild", "typical", "severe")


@dataclass(frozen=True)
class Trial:
    """One pair of captures and what came of it; `codes` of any severity, `warned` without notes."""

    case: Case
    device: str
    recipe: str
    codes: frozenset[str] = frozenset()
    warned: frozenset[str] = frozenset()
    refused: str = ""
    crashed: str = ""
    wrong: tuple[str, ...] = ()
    without_effect: bool = False

    @property
    def told(self) -> bool:
        """Whether the fault, or each of a pair, was told by its family's name, or the capture refused."""
        # a note will do where no number moved
        found = self.warned if self.wrong else self.codes
        return bool(self.refused) or all(self._named(name, found) for name, _ in self.case.faults)

    def _named(self, name: str, found: frozenset[str]) -> bool:
        if name.endswith(" in the bypass") and "other-path" in found:
            return True
        name = name.removesuffix(" in the bypass")
        found = self.warned if name == "wow" else found
        if name.startswith("coded "):
            return "lossy-coded" in found
        if name in BENCH_FAULTS:
            return bool(found & BENCH_FAULTS[name].family)
        return bool(found & FAMILY.get(name, {name}))

    @property
    def outcome(self) -> str:
        """ "named", "holds" (every number does), "other" (wrong, told under another name), "silent" or "crash"."""
        if self.crashed:
            return "crash"
        if self.told:
            return "named"
        if not self.wrong:
            return "holds"
        return "other" if self.warned - OF_THE_STAGE else "silent"


@lru_cache(maxsize=8)
def twin_of(device: str, recipe: str, seed: int) -> Profile:
    """The profile of the clean captures."""
    return characterise(
        capture(recorded(device, recipe, 2 * seed), device),
        stimulus_of(recipe),
        channel=1,
        setting=device,
        bypass=capture(recorded(BYPASS, recipe, 2 * seed + 1), BYPASS),
    )


_CLEAN: dict[tuple[str, int], tuple[MemoryCapture, Judged]] = {}


def clean_bypass(dry: MemoryCapture, recipe: str, seed: int) -> Judged:
    """The judged bypass of faults in the setting alone: the same for all of them, but for what was mixed up."""
    kept = _CLEAN.get((recipe, seed))
    if kept is None or not np.array_equal(kept[0].samples, dry.samples):
        kept = (dry, judge_capture(dry, stimulus_of(recipe), 0))
        _CLEAN[recipe, seed] = kept
    return kept[1]


@lru_cache(maxsize=8)
def truth_of(device: str, recipe: str) -> dict[str, float]:
    if device not in stage_names():  # of other make: the clean twin alone says what is true
        return {}
    stage = make_stage(device)
    stimulus = stimulus_of(recipe)
    played = render(stimulus)
    gain_db = stage.process(played, rate_hz=stimulus.rate_hz, rng=np.random.default_rng(0)).gain_db
    truth = dict(stage.truth) | burst_truth(stage, stimulus, played=played, gain_db=gain_db)
    return {name: true.value for name, true in truth.items()}


def wrong_numbers(
    profile: Profile, faults: Sequence[tuple[str, float | None]], device: str, recipe: str, seed: int
) -> tuple[str, ...]:
    """Published numbers that the fault moved away from their truth, and response points likewise."""
    clean, truth = twin_of(device, recipe, seed), truth_of(device, recipe)
    wrong = []
    for name, entry in profile.quantities.items():
        found = entry.reading
        if not isinstance(found, Quantity):
            continue
        if name not in clean.quantities:  # what only a fault can have made
            wrong.append(name)
            continue
        before = clean.quantities[name].reading
        if name == "static.max_reduction" and _levels(entry) != _levels(clean.quantities[name]):
            continue  # a tone less was read: a number of another span of levels, which stands beside it
        if name.startswith("noise.") and any(fault in STEADY for fault, _ in faults):
            continue  # steady noise of the path, and what it adds to a tone, are what these numbers are to tell
        reach = BEYOND * (found.high - found.low)
        if name in truth:
            usual = isinstance(before, Quantity) and not before.low <= truth[name] <= before.high
            if not usual and not found.low - reach <= truth[name] <= found.high + reach:
                wrong.append(name)
        elif isinstance(before, Quantity) and not (
            found.low - reach <= before.high and before.low <= found.high + reach
        ):
            wrong.append(name)
    if moved := _moved_points(profile, clean):
        wrong.append(moved)
    return tuple(wrong)


def _levels(entry: Entry) -> str:
    """The span of levels that a number's conditions name."""
    return entry.conditions.partition("levels ")[2].partition(";")[0]


def _moved_points(profile: Profile, clean: Profile) -> str:
    """The response point that the fault moved most, "" if none."""
    tables = [each.curves.get("response") for each in (profile, clean)]
    if None in tables:
        return ""
    one, two = ({key: numbers(table, key) for key in table.columns} for table in tables)
    where = np.round(one["drive_dbfs"]), np.round(two["drive_dbfs"])
    worst, told = 0.0, ""
    for drive in np.unique(where[1]):
        new, old = where[0] == drive, where[1] == drive
        both = np.intersect1d(one["frequency_hz"][new], two["frequency_hz"][old], return_indices=True)
        shift = one["magnitude_db"][new][both[1]] - two["magnitude_db"][old][both[2]]
        std = np.hypot(one["magnitude_std_db"][new][both[1]], two["magnitude_std_db"][old][both[2]])
        excess = np.abs(shift) - POINT_SIGMAS * std - POINT_GOAL_DB
        if excess.size and excess.max() > worst:
            at = int(excess.argmax())
            worst, told = float(excess[at]), f"response {shift[at]:+.2f} dB at {both[0][at]:.0f} Hz"
    return told


def try_case(job: tuple[Case, str, str, int, bool]) -> Trial:
    """Judge one case; its numbers are measured where it is not told by name, or where they are asked for, too."""
    case, device, recipe, seed, numbers_too = job
    pair = pair_of(case, device, recipe, seed)
    if pair is None:
        return Trial(case, device, recipe, without_effect=True)
    try:
        stimulus = stimulus_of(recipe)
        wet = judge_capture(pair.wet, stimulus, pair.channel - 1)
        dry = judge_capture(pair.dry, stimulus, 0) if case.both else clean_bypass(pair.dry, recipe, seed)
        warned = frozenset(item.code for item in (*wet[1], *judge_pair(wet, dry)) if item.severity != "note")
        trial = Trial(case, device, recipe, warned, warned)
        if trial.told and not numbers_too:
            return trial
        profile = characterise_judged(wet, dry, setting=device)
    except CharprobeError as error:
        return Trial(case, device, recipe, refused=str(error))
    except Exception as error:
        return Trial(case, device, recipe, crashed=repr(error))
    codes = frozenset(item.code for item in profile.health)
    warned = frozenset(item.code for item in profile.health if item.severity != "note")
    wrong = (
        () if pair.wet.name == "stimulus.wav" else wrong_numbers(profile, case.faults, device, recipe, seed)
    )
    return Trial(case, device, recipe, codes, warned, wrong=wrong)


def kept_trials(path: Path) -> list[Trial]:
    """Trials that an earlier run, stopped or not, put into a file, a line each."""
    trials = []
    for line in path.read_text(encoding="utf-8").splitlines() if path.exists() else ():
        told = json.loads(line)
        faults = tuple((name, size) for name, size in told["case"]["faults"])
        told["case"] = Case(faults, told["case"]["both"], told["case"]["rank"])
        sets = {name: frozenset(told[name]) for name in ("codes", "warned")}
        trials.append(Trial(**told | sets | {"wrong": tuple(told["wrong"])}))
    return trials


def keep(path: Path, trial: Trial) -> None:
    with path.open("a", encoding="utf-8") as file:
        file.write(json.dumps(asdict(trial), default=sorted) + "\n")


def try_clean(number: int) -> tuple[str, frozenset[str], frozenset[str]]:
    """Judge clean captures of any stage and its bypass through any rig: a label, their stops, their warnings.

    Every other stage is one of other make, with parameters of its own.
    """
    rng = np.random.default_rng(1000 + number)
    held_out = stages(number if number % 4 == 3 else None)
    names = list(held_out) if number % 2 else stage_names()
    device = names[number // 2 % len(names)]
    rate_hz = int(rng.choice(CLEAN_RATES_HZ))
    stimulus = lay_out(load_recipe("standard" if number % 20 == 0 else "quick"), rate_hz=rate_hz, take=1)
    played = render(stimulus)
    made = (
        held_out[device].process(played, rate_hz).sound
        if number % 2
        else make_stage(device).process(played, rate_hz=rate_hz, rng=rng).samples
    )
    outs = [made, played]
    peak_db = max(0.0, *(20 * np.log10(np.abs(out).max()) for out in outs))
    word = ("16 dithered", "24", "32", "float")[int(rng.integers(4))]
    rig = Rig(
        gain_db=float(rng.uniform(-12, -0.1)) - peak_db,
        delay_samples=float(rng.uniform(0, 4000)),
        noise_dbfs=float(rng.uniform(-115, -85)),
        drift_ppm=float(rng.uniform(-60, 60)),
        ac_corner_hz=float(rng.uniform(1, 20)),
        hum_dbfs=float(rng.uniform(-140, -110)),
        inverted=bool(rng.random() < 0.2),
        lead_s=float(rng.uniform(0, 1.5)),
        tail_s=float(rng.uniform(0, 1.5)),
    )
    judged = []
    for name, out in zip((device, BYPASS), outs, strict=True):
        samples = _converter(rig.record(out, rate_hz=rate_hz, rng=rng), rng)
        samples = {
            "16 dithered": lambda x: quantise(x, bits=16, dither=True, rng=rng),
            "24": lambda x: quantise(x, bits=24, dither=False, rng=rng),
            "32": lambda x: quantise(x, bits=32, dither=False, rng=rng),
            "float": lambda x: x.astype(np.float32).astype(float),
        }[word](samples)
        judged.append(judge_capture(MemoryCapture(samples, rate_hz=rate_hz, name=f"{name}.wav"), stimulus, 0))
    found = (*judged[0][1], *judge_pair(*judged))
    by_severity = [frozenset(item.code for item in found if item.severity == s) for s in ("stop", "warn")]
    if word == "16 dithered":  # that only 16 bits carry data is so
        by_severity[1] -= {"few-bits"}
    label = f"{number} {device}, {rate_hz} Hz, {word}, noise {rig.noise_dbfs:.0f}, hum {rig.hum_dbfs:.0f}"
    return label, by_severity[0], by_severity[1]


def _converter(samples: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """The filter of a converter: linear in phase or of least phase, which passes 0.4535 to 0.475 of the rate."""
    top = float(rng.uniform(0.4535, 0.475))
    if rng.random() < 0.5:
        taps = signal.firwin(257, (top + 0.5) / 2, window=("kaiser", 8.0), fs=1.0)
        return signal.fftconvolve(samples, taps[:, None], axes=0)
    return signal.sosfilt(signal.ellip(7, 0.05, 80, top, fs=1.0, output="sos"), samples, axis=0)


def fault_table(trials: Sequence[Trial]) -> str:
    groups: dict[tuple[str, str, bool], list[Trial]] = defaultdict(list)
    for trial in trials:
        groups[trial.case.name, trial.case.size_text, trial.case.both].append(trial)
    lines = [
        "| fault | size | in | told by name | refused | told as | numbers moved beyond their interval | of these in silence |",
        "|---|---|---|---|---|---|---|---|",
    ]
    for (name, size, both), items in groups.items():
        judged = [t for t in items if not t.without_effect]
        codes = sorted(set().union(*(t.warned for t in judged)) - OF_THE_STAGE) if judged else []
        wrong = sorted({name for t in judged for name in t.wrong})
        silent = sorted({name for t in judged if t.outcome == "silent" for name in t.wrong})
        told = f"{sum(t.told for t in judged)} of {len(judged)}" if judged else "changes nothing"
        lines.append(
            f"| {name} | {size} | {'both' if both else 'setting'} | {told} | {sum(bool(t.refused) for t in judged)} "
            f"| {', '.join(codes) or '–'} | {', '.join(wrong) or 'none'} | {', '.join(silent) or 'none'} |"
        )
    return "\n".join(lines)


def screen(trials: Sequence[Trial]) -> str:
    """What matters, in one screen: counts by size, and every fault that is not wholly told or harmless."""
    judged = [t for t in trials if not t.without_effect]
    words = ("named", "holds", "other", "silent", "crash")
    lines = [f"{len(judged)} trials of {len({t.case.name for t in trials})} faults and pairs of faults"]
    lines += [f"{'':<10}{'by name':>9}{'all hold':>9}{'other':>9}{'silent':>9}{'crash':>9}"]
    for label, chosen in [
        *(
            (word, [t for t in judged if t.case.rank == i and len(t.case.faults) == 1])
            for i, word in enumerate(RANKS)
        ),
        ("pairs", [t for t in judged if len(t.case.faults) > 1]),
        ("all", judged),
    ]:
        lines.append(
            f"{label:<10}" + "".join(f"{sum(t.outcome == word for t in chosen):>9}" for word in words)
        )
    rows: dict[tuple[str, str], list[Trial]] = defaultdict(list)
    for trial in judged:
        if trial.outcome in ("other", "silent", "crash"):
            rows[trial.outcome, f"{trial.case.name} {trial.case.size_text}"].append(trial)
    for (outcome, name), items in sorted(rows.items(), reverse=True):
        numbers_ = sorted({number for t in items for number in t.wrong}) or sorted({t.crashed for t in items})
        told = sorted(set().union(*(t.warned for t in items)) - OF_THE_STAGE)
        text = f"{outcome} {len(items)}: {name} [{', '.join(told)}] {', '.join(numbers_)}"
        lines.append(text if len(text) < 160 else text[:157] + "...")
    return "\n".join(lines)


def clean_text(clean: Sequence[tuple[str, frozenset[str], frozenset[str]]]) -> str:
    stops = [f"{label}: {', '.join(sorted(codes))}" for label, codes, _ in clean if codes]
    warns = [f"{label}: {', '.join(sorted(codes))}" for label, _, codes in clean if codes]
    return (
        f"{len(clean)} clean captures with their bypass, of every stage and of those of other make, at {', '.join(map(str, CLEAN_RATES_HZ))} Hz, noise "
        "-115 to -85 dBFS, hum -140 to -110 dBFS, clocks ±60 ppm, coupling 1 to 20 Hz, converter filters, 16 bits with "
        f"dither, 24, 32 and float: {len(stops)} stopped ({'; '.join(stops) or 'none'}), {len(warns)} warned of "
        f"({'; '.join(warns) or 'none'})."
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--clean", type=int, default=0, help="clean captures to judge as well")
    parser.add_argument("--only", help="names of faults, with commas between; - for none")
    parser.add_argument("--pairs", type=int, default=0, help="pairs of faults to draw as well")
    parser.add_argument("--seed", type=int, default=22, help="which pairs, which draw")
    parser.add_argument("--numbers", action="store_true", help="measure also what is told by name")
    parser.add_argument("--recipe", choices=RECIPES, help="one recipe alone")
    parser.add_argument("--device", choices=(*stage_names(), *stages()), help="one device alone")
    parser.add_argument("--jobs", type=int, default=2, help="processes")
    parser.add_argument("--draw", type=int, help="so many trials, drawn from all of them by the seed")
    parser.add_argument("--keep", type=Path, help="file that trials are added to, and not run again from")
    parser.add_argument("--write", action="store_true", help="put the matrix into docs/accuracy/faults.md")
    options = parser.parse_args()
    names = options.only.split(",") if options.only else None
    chosen = [c for c in cases() if names is None or c.name in names] + pairs(options.pairs, options.seed)
    recipes = [options.recipe] if options.recipe else RECIPES
    devices = [options.device] if options.device else DEVICES
    jobs = [(c, d, r, 1, options.numbers) for r in recipes for d in devices for c in chosen]
    if options.draw:
        order = np.random.default_rng(options.seed).permutation(len(jobs))
        jobs = [jobs[number] for number in order[: options.draw]]
    trials = kept_trials(options.keep) if options.keep else []
    done = {(trial.case, trial.device, trial.recipe) for trial in trials}
    jobs = [job for job in jobs if job[:3] not in done]
    with ProcessPoolExecutor(max_workers=options.jobs) as pool:
        for trial in pool.map(try_case, jobs, chunksize=1 if options.keep else 4):
            trials.append(trial)
            if options.keep:
                keep(options.keep, trial)
        clean = list(pool.map(try_clean, range(options.clean), chunksize=4))
    said = [screen(trials)] if trials else []
    said += [clean_text(clean)] if clean else []
    print("\n\n".join(said))
    if options.write:
        about = (
            f"In the setting's capture alone and in the bypass too, on {', '.join(devices)}, recipes {', '.join(recipes)}, "
            f"{RATE_HZ} Hz. {', '.join(OF_BOTH_ONLY)} count only where the bypass shows them: in one capture alone they are "
            "what a stage may do. A number counts as moved that lies more than four standard uncertainties from its truth "
            "while the clean twin held it."
        )
        text = "\n\n".join([about, f"```\n{screen(trials)}\n```", *said[1:], fault_table(trials)])
        write_section("faults", "Faults", "python -m tests.benchmarks.fault_bench --write", text)


if __name__ == "__main__":
    main()
