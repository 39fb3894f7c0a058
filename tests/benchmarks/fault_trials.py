"""One faulty pair of captures judged: named, harmless, told otherwise, or numbers moved in silence."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np

from charprobe.files.sound.source import MemoryCapture
from charprobe.measuring.characterise import characterise, characterise_judged
from charprobe.measuring.health.judge import Judged, judge_capture, judge_pair
from charprobe.profile.entry import Entry, numbers
from charprobe.profile.profile import Profile
from charprobe.rehearsal.selftest import played_truth
from charprobe.simulation.devices.catalogue import make_stage, stage_names
from charprobe.stimulus.render import render
from charprobe.values.errors import CharprobeError
from charprobe.values.quantity import Quantity
from tests.benchmarks.bench_faults import BENCH_FAULTS
from tests.benchmarks.fault_captures import BYPASS, capture, recorded, stimulus_of
from tests.benchmarks.fault_cases import Case, pair_of

# a 95 % interval may miss by chance; four standard uncertainties are missed by chance once in 16 000
BEYOND = 0.5  # interval widths outside the interval: four standard uncertainties from the value
# of response points, four standard uncertainties of the difference; what is finer than the goal is no harm
POINT_SIGMAS, POINT_GOAL_DB = 4.0, 0.02
FAMILY = {  # codes that name a fault rightly, where its own name is not the code
    "added-silence": {"added-silence", "gap-edited", "timing-jump"},
    "clipped-below-full-scale": {"clipped-below-full-scale", "normalised"},
    "diffuse-tail": {"two-paths", "diffuse-tail"}, "edges-faded": {"start-missing", "truncated"},
    "foreign-noise": {"foreign-noise", "low-level"}, "gain-step": {"gain-step", "level-drift"},
    "music": {"spur", "foreign-noise"}, "noise-suppressor": {"automatic-gain", "idle-mute"},
    "copied-bypass": {"equals-other-capture", "swapped-roles", "automatic-gain"},
    "bypass-of-another-day": {"other-path"}, "path-ahead": {"two-paths"},
    "played in 16 bits": {"few-bits"}, "rate-converted-line": {"rate-converted"},
    "rate-converted-short": {"rate-converted"}, "rate-converted-twice": {"rate-converted"},
    "ring-tone": {"spur"}, "setting-changed": {"gain-step", "level-drift", "timing-jump", "dropout"},
    "setting-touched": {"gain-step", "level-drift", "timing-jump", "dropout"},
    "swinging-noise": {"spur", "foreign-noise"}, "timing-repeat": {"timing-jump", "dropout"},
    "timing-jump": {"timing-jump", "dropout"}, "wow": {"clock-drift"},
    "late-relay": {"gain-step", "level-drift", "timing-jump", "dropout"},
    "late-bypass": {"gain-step", "level-drift", "timing-jump", "dropout", "automatic-gain"},
    "older-stimulus": {"wrong-stimulus"}, "older bypass": {"wrong-stimulus"},
    "monitor-mix": {"two-paths"}, "treble-past": {"two-paths"}, "converted bypass": {"rate-converted", "other-path"},
    "over-old-take": {"two-paths", "diffuse-tail", "spur", "foreign-noise"}, "fader-on-setting": {"normalised", "other-path"}, "pan-law-of-bypass": {"normalised", "other-path"},
    "mislabelled bypass": {"rate-mislabelled"}, "run over the bypass": {"equals-other-capture"}, "bypass-coloured": {"other-path", "clipped-below-full-scale"},
    "preset-recalled": {"gain-step", "level-drift", "timing-jump", "dropout"},
    "setting-in-the-bypass": {"automatic-gain", "other-path", "clipped-below-full-scale", "two-paths"},
    "two read as one": {"rate-mislabelled", "wrong-stimulus", "stimulus-not-found"}, "wrong-take": {"wrong-stimulus"},
}  # fmt: skip
# codes that speak of the stage, not of the capture
OF_THE_STAGE = {
    "unsettled", "output-saturated", "gap-too-short", "below-resolution", "never-compresses", "always-compresses",
    "expander", "upward-compression", "second-bend", "history-dependent", "stepped-gain",
}  # fmt: skip
PLAYED = {name for name, fault in BENCH_FAULTS.items() if fault.played}
STEADY = {"foreign-noise", "rumble", "ripple", "mains-hash", "noise-ahead", "hum-ahead"}


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
        # a note will do where no number moved, but for that of the rig's own clock
        found = self.warned if self.wrong else self.codes - {"clock-drift"} | self.warned
        return bool(self.refused) or all(self._named(name, found) for name, _ in self.case.faults)

    def _named(self, name: str, found: frozenset[str]) -> bool:
        if name.endswith(" in the bypass") and "other-path" in found:
            return True
        name = name.removesuffix(" in the bypass")
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
    truth = played_truth(stage, stimulus, played=played, gain_db=gain_db)
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
        axis_db = 0.0  # what is played otherwise is what the stage hears
        if name.startswith("static.threshold") and not any(each in PLAYED for each, _ in faults):
            axis_db = _axis_moved_db(profile, clean)
        reach = BEYOND * (found.high - found.low)
        if name in truth:
            usual = isinstance(before, Quantity) and not before.low <= truth[name] <= before.high
            if not usual and not found.low - reach <= truth[name] + axis_db <= found.high + reach:
                wrong.append(name)
        elif isinstance(before, Quantity) and not (
            found.low - reach <= before.high + axis_db and before.low + axis_db <= found.high + reach
        ):
            wrong.append(name)
    if moved := _moved_points(profile, clean):
        wrong.append(moved)
    return tuple(wrong)


def _axis_moved_db(profile: Profile, clean: Profile) -> float:
    """By how much the path has another gain: levels on the input axis are those its bypass shows."""
    levels = [
        numbers(each.curves["static"], "input_dbfs") if "static" in each.curves else np.zeros(0)
        for each in (profile, clean)
    ]
    same = levels[0].shape == levels[1].shape and levels[0].size > 0
    return float(np.median(levels[0] - levels[1])) if same else 0.0


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
        warned = frozenset(item.code for item in judge_pair(wet, dry) if item.severity != "note")
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
