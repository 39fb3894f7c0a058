"""What kept numbers from being had, and whether a designed stimulus gives them: each cause with its cure."""

from __future__ import annotations

from charprobe.stimulus.design_needs import Needs
from charprobe.stimulus.kinds.bursts import Bursts
from charprobe.stimulus.kinds.level_steps import LevelSteps
from charprobe.stimulus.recipe import MAX_RATE_HZ
from charprobe.values.quantity import Cause
from charprobe.values.wording import number_text

ONLY_RISE = "level steps only rise: falling ones would have to wait for the release at every level"
BOTH_WAYS = "static.hysteresis"  # asks for steps that settle on the way up and on the way down


def cured(needs: Needs, steps: LevelSteps) -> dict[Cause, tuple[str, ...]]:
    """Return what has no number yet and gets one, by the cause of its lack."""
    met = {
        "short-steps": True,
        "short-gaps": True,
        "coarse-carrier": False,  # phases tell the gain at every sample, whatever the carrier
        "high-levels": steps.from_dbfs < needs.lowest_dbfs - 1,
        "low-levels": steps.to_dbfs > needs.highest_dbfs + 1,
    }
    found = {
        cause: tuple(name for name in names if steps.falling or name != BOTH_WAYS)
        for cause, names in needs.causes.items()
        if met[cause]
    }
    return {cause: names for cause, names in found.items() if names}


def sentences_on(needs: Needs, steps: LevelSteps, bursts: Bursts | None) -> list[str]:
    """Say of each cause of a missing number what meets it, or that nothing played longer would."""
    gap_s = 0.0 if bursts is None else bursts.release_s
    lowest, highest = number_text(steps.from_dbfs, 1), number_text(steps.to_dbfs, 1)
    meets: dict[Cause, str] = {
        "short-steps": f"steps of {steps.step_s:.3g} s let the gain settle",
        "short-gaps": f"gaps of {gap_s:.3g} s let the release end before the next burst",
        "high-levels": f"level steps begin at {lowest} dBFS",
        "low-levels": f"steps end at {highest} dBFS",
    }
    none_helps: dict[Cause, str] = {
        "short-steps": ONLY_RISE,
        "coarse-carrier": "carrier phases tell the gain at every sample already: a longer take gains "
        f"nothing, a stimulus at {MAX_RATE_HZ} Hz (--rate) resolves faster edges",
        "high-levels": f"level steps began at {number_text(needs.lowest_dbfs, 1)} dBFS already: a longer "
        "take gains nothing, lower the gain before the stage",
        "low-levels": f"steps cannot end above {highest} dBFS: a longer take gains nothing, raise the gain "
        "before the stage",
    }
    given, said = cured(needs, steps), []
    for cause, names in needs.causes.items():
        told = given.get(cause, ())
        if told:
            said.append(f"{meets[cause]}, for {', '.join(told)}")
        if left := [name for name in names if name not in told]:
            said.append(f"{none_helps[cause]}, for {', '.join(left)}")
    return said
