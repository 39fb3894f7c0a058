"""Opening the key of a blind pack: how many were right, and what that does and does not show."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Literal

import scipy
from annotated_types import Interval, MaxLen

from charprobe.files.checked_model import checked
from charprobe.files.untrusted import FileKind, json_content, read_text
from charprobe.listening.blind.key import BlindError, Side, read_key
from charprobe.values.wording import literal, shortened

RESULT_FILE = FileKind(
    called="result of a blind session",
    error=BlindError,
    most_bytes=1_000_000,
    most_depth=6,
    remedy="check which file belongs here",
    mend="give the file as the page saved it, unedited",
    schema="charprobe.blind-result/1",
)
TRUE_SHARE = 0.7  # of trials right: the listener whose chance of passing is told
_SURE = 2


@dataclass(frozen=True)
class AnswerForm:
    """One answer as the page saves it."""

    answer: Side
    sure: Annotated[int, Interval(ge=0, le=_SURE)] | None = None
    switches: Annotated[int, Interval(ge=0)] | None = None
    seconds: Annotated[float, Interval(ge=0)] | None = None


@dataclass(frozen=True)
class ResultForm:
    """The file that the page saves."""

    schema: Literal["charprobe.blind-result/1"]
    pack: str
    seal: str
    answers: Annotated[tuple[AnswerForm, ...], MaxLen(1000)]
    started: str | None = None
    finished: str | None = None
    attempt: Annotated[int, Interval(ge=1)] = 1


@dataclass(frozen=True)
class Score:
    """What a session shows.

    Attributes
    ----------
    hits, trials : int
        Right answers, and trials that count.
    probability : float
        Of as many hits or more by guessing (one-sided binomial).
    level : float
        Probability fixed beforehand.
    needed : int
        Hits needed to reach it.
    power : float
        Probability of reaching it for someone right in 7 of 10 trials in the long run.
    share_low, share_high : float
        95 % interval of the share of right answers in the long run.
    controls, sure_controls : int
        Trials with nothing to tell apart, and in how many of them the listener was certain.
    sentence : str
        In words.
    notes : tuple of str
        What else is worth knowing.
    """

    hits: int
    trials: int
    probability: float
    level: float
    needed: int
    power: float
    share_low: float
    share_high: float
    controls: int
    sure_controls: int
    sentence: str
    notes: tuple[str, ...]


def guess_probability(hits: int, trials: int) -> float:
    """Probability of at least so many hits by guessing between two.

    Examples
    --------
    >>> round(guess_probability(12, 16), 3), round(guess_probability(8, 10), 3)
    (0.038, 0.055)
    """
    return float(scipy.special.bdtrc(hits - 1, trials, 0.5))


def needed_hits(trials: int, *, level: float) -> int:
    """Fewest hits whose `guess_probability` is at most `level`; one more than `trials` if none is.

    Examples
    --------
    >>> [needed_hits(n, level=0.05) for n in (8, 10, 12, 16, 20)]
    [7, 9, 10, 12, 15]
    """
    return next((k for k in range(trials + 1) if guess_probability(k, trials) <= level), trials + 1)


def pass_probability(trials: int, *, level: float, share: float) -> float:
    """Probability of reaching the level for someone right in `share` of trials in the long run.

    Examples
    --------
    >>> round(pass_probability(16, level=0.05, share=0.7), 2)
    0.45
    """
    return float(scipy.special.bdtrc(needed_hits(trials, level=level) - 1, trials, share))


def hit_interval(hits: int, trials: int) -> tuple[float, float]:
    """95 % interval of the share of right answers in the long run (Clopper and Pearson, 1934).

    Examples
    --------
    >>> [round(end, 3) for end in hit_interval(20, 25)]
    [0.593, 0.932]
    """
    low = float(scipy.special.betaincinv(hits, trials - hits + 1, 0.025)) if hits else 0.0
    high = float(scipy.special.betaincinv(hits + 1, trials - hits, 0.975)) if hits < trials else 1.0
    return low, high


def power_text(trials: int, *, level: float) -> str:
    """Say before the start what so many rounds can show: who would pass, and how often.

    Examples
    --------
    >>> power_text(25, level=0.05).partition(". ")[2]
    'Someone right in 60 % of rounds gets there in 15 % of sessions, in 70 % in 51 %, in 80 % in 89 %.'
    """
    shares = (0.6, 0.7, 0.8)
    chances = [pass_probability(trials, level=level, share=share) for share in shares]
    first, *rest = (
        f"{100 * share:.0f} %{' of rounds gets there' if share == shares[0] else ''} in {100 * chance:.0f} %"
        for share, chance in zip(shares, chances, strict=True)
    )
    others = "".join(f", in {text}" for text in rest)
    return (
        f"{needed_hits(trials, level=level)} of {trials} right are needed. Someone right in {first} of "
        f"sessions{others}."
    )


def score(result_path: Path, *, key_path: Path) -> Score:
    """Score a finished session: the file that the page saved, and the key of the same pack.

    `BlindError` if the key is not the one sealed into the pack, or the result is not of a whole session.
    """
    key, seal = read_key(key_path)
    content = json_content(read_text(result_path, RESULT_FILE), RESULT_FILE, source=str(result_path))
    result = checked(content, ResultForm)
    if result.pack != key.pack:
        found, wanted = (shortened(literal(name), 40) for name in (result.pack, key.pack))
        raise BlindError(
            f"{result_path.name} belongs to pack {found}, the key to pack {wanted}: check which files belong "
            "together"
        )
    if result.seal != seal:
        raise BlindError(
            f"{key_path}: is not the key that was sealed into the pack: it was changed. Nothing is scored"
        )
    if len(result.answers) != len(key.trials):
        raise BlindError(
            f"{result_path.name}: does not hold an answer to each of the {len(key.trials)} trials: the "
            "number was fixed beforehand, and only whole sessions count"
        )
    answers = result.answers
    counted = [
        (trial, answer) for trial, answer in zip(key.trials, answers, strict=True) if not trial.control
    ]
    hits = sum(answer.answer == trial.middle for trial, answer in counted)
    controls = [answer for trial, answer in zip(key.trials, answers, strict=True) if trial.control]
    sure = sum(answer.sure == _SURE for answer in controls)
    trials = len(counted)
    probability = guess_probability(hits, trials)
    power = pass_probability(trials, level=key.level, share=TRUE_SHARE)
    share = hit_interval(hits, trials)
    return Score(
        hits=hits,
        trials=trials,
        probability=probability,
        level=key.level,
        needed=needed_hits(trials, level=key.level),
        power=power,
        share_low=share[0],
        share_high=share[1],
        controls=len(controls),
        sure_controls=sure,
        sentence=_sentence(hits, trials, probability, key.level, power, share),
        notes=_notes(result.attempt, len(controls), sure),
    )


def _sentence(
    hits: int, trials: int, probability: float, level: float, power: float, share: tuple[float, float]
) -> str:
    luck = f"{100 * probability:.2g} % of sessions"
    ends = f"{100 * share[0]:.0f} to {100 * share[1]:.0f} %"
    found = (
        f"{hits} of {trials} right, {ends} in the long run (95 % interval); guessing gives that many or more "
        f"in {luck}."
    )
    if probability <= level:
        return (
            f"{found} This listener told these two sounds apart, with this gear and this excerpt. Which is "
            "better, and whether others or other sounds would show it, was not asked."
        )
    missed = f"{100 * (1 - power):.0f} % of such sessions"
    return (
        f"{found} A difference was not shown. That is not proof that there is none: someone who is "
        f"right in 7 of 10 trials in the long run would have missed the mark in {missed}."
    )


def _notes(attempt: int, controls: int, sure: int) -> tuple[str, ...]:
    notes = []
    if controls:
        notes.append(
            f"{controls} hidden trials had the same sound on both sides; the listener was certain "
            f"in {sure} of them."
        )
    if attempt > 1:
        notes.append(
            f"This was attempt {attempt} with this pack in this browser: of several attempts, one passes "
            "by luck more easily. Count the first, or make a new pack."
        )
    return tuple(notes)
