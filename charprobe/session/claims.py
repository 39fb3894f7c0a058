"""Claims about settings, checked against a comparison: supported, contradicted, or not enough evidence."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from charprobe.comparing.comparison import Comparison, Difference, in_sentence
from charprobe.profile.entry import numbers
from charprobe.profile.glossary import TERMS
from charprobe.profile.profile import Profile
from charprobe.session.file import Claim
from charprobe.values.wording import literal, number_text

Answer = Literal["supported", "contradicted", "not enough evidence"]
GAINS = ("static curve", "static.low_level_gain", "static.makeup_gain")
LEVEL_FREE = (
    "static curve, anchored",
    "static.slope",
    "attack.t63",
    "release.t63",
    "release.t90",
    "attack trace",
    "release trace",
    "response.tilt",
    "response",
)
"""What "only louder" needs to be the same, where it was measured."""

FEWEST_TONES = 3
AS_SAID_DB = 0.05  # levels of claims are said, and repeated here, to a tenth


@dataclass(frozen=True)
class CheckedClaim:
    """A claim in words, the answer, and what it rests on or lacks."""

    text: str
    answer: Answer
    because: str


def check_claims(
    claims: Sequence[Claim], comparison: Comparison | None, profiles: Sequence[Profile]
) -> tuple[CheckedClaim, ...]:
    """Check claims against a comparison of the settings (None with fewer than two) and their profiles.

    Subjects of the comparison are named by their settings.
    """
    return tuple(_checked(claim, comparison, profiles) for claim in claims)


def _checked(claim: Claim, comparison: Comparison | None, profiles: Sequence[Profile]) -> CheckedClaim:
    if claim.says == "clean below":
        return _clean(claim, profiles)
    names = " and ".join(literal(name) for name in claim.settings)
    found = _between(claim.settings, comparison)
    if not found:
        return CheckedClaim(f"{names}: {claim.says}", "not enough evidence", "not all of them were measured")
    if claim.says == "only louder":
        return _only_louder(names, found)
    if claim.says == "identical":
        return _settled(f"{names} are identical", found, wanted="same")
    term = TERMS.get(claim.of)  # the ratio is judged by its slope
    subject = (term and term.through) or claim.of or "static curve"
    chosen = [item for item in found if item.name == subject]
    return _settled(f"{names}: {claim.says} {in_sentence(subject)}", chosen, wanted=claim.says)


def _between(settings: Sequence[str], comparison: Comparison | None) -> list[Difference]:
    """Return all differences between the named settings; none unless every one of them is there."""
    if comparison is None:
        return []
    numbers = {subject.repeats[0].setting: i for i, subject in enumerate(comparison.subjects)}
    if any(name not in numbers for name in settings):
        return []
    chosen = {numbers[name] for name in settings}
    return [item for item in comparison.differences if {item.first, item.second} <= chosen]


def _settled(text: str, found: Sequence[Difference], *, wanted: str) -> CheckedClaim:
    """Decide by verdicts: all as wanted supports, any of the other kind contradicts."""
    other = "different" if wanted == "same" else "same"
    against = [item for item in found if item.alike == other]
    if against:
        return CheckedClaim(text, "contradicted", _listed(against))
    open_ones = [item for item in found if item.verdict == "cannot tell"]
    if open_ones or not found:
        return CheckedClaim(text, "not enough evidence", _lacking(open_ones))
    return CheckedClaim(text, "supported", _listed(found))


def _only_louder(names: str, found: Sequence[Difference]) -> CheckedClaim:
    text = f"{names} differ in level only"
    against = [item for item in found if item.name in LEVEL_FREE and item.alike == "different"]
    if against:
        return CheckedClaim(text, "contradicted", _listed(against))
    louder = [item for item in found if item.name in GAINS]
    if any(item.verdict == "same" for item in louder if item.name == "static curve"):
        return CheckedClaim(text, "contradicted", "they do not differ in level: " + _listed(louder))
    curve = [item for item in found if item.name == "static curve, anchored"]
    level = [item for item in louder if item.verdict == "different"]
    if level and curve and all(item.verdict == "same" for item in curve):
        same = [item for item in found if item.name in LEVEL_FREE and item.alike == "same"]
        return CheckedClaim(text, "supported", _listed([*level, *same]))
    return CheckedClaim(text, "not enough evidence", _lacking([*curve, *louder]))


def _clean(claim: Claim, profiles: Sequence[Profile]) -> CheckedClaim:
    """Check that every harmonic lies under a limit up to a level, at several frequencies.

    Between the last step up to there and the level, only a next step that is clean as well vouches for it.
    """
    below, limit = claim.below_dbfs, claim.limit_dbc
    assert below is not None  # the session file holds both for this kind
    assert limit is not None
    name = claim.settings[0]
    text = (
        f"{literal(name)} is clean below {number_text(below, 1)} dBFS "
        f"(no harmonic above {number_text(limit, 1)} dBc)"
    )
    told = [cell for p in profiles if p.setting == name for cell in _harmonics(p)]
    several = len({cell.channel for cell in told}) > 1
    cells = [cell for cell in told if cell.level_dbfs <= below + AS_SAID_DB]
    if loud := [cell for cell in cells if cell.dbc > limit]:
        shown = (
            f"H{c.order} {number_text(c.dbc, 1)} dBc at {number_text(c.level_dbfs, 1)} dBFS, {c.tone_hz} Hz"
            + (f", channel {c.channel}" if several else "")
            for c in loud[:4]
        )
        return CheckedClaim(text, "contradicted", "; ".join(shown))
    tones = {cell.tone_hz for cell in cells}
    hidden = [cell for cell in cells if not cell.clean(limit)]
    if len(tones) < FEWEST_TONES:
        lack = f"tones of {len(tones)} frequencies were played, {FEWEST_TONES} are needed"
        spoiled = [why for p in profiles if p.setting == name and (why := p.why_no_curve("harmonics"))]
        if not cells and spoiled:
            named = ", ".join(dict.fromkeys(spoiled))
            lack = f"its table of harmonics was taken back ({named}): mend that and retake"
        return CheckedClaim(text, "not enough evidence", lack)
    if hidden:
        lack = f"at {len(hidden)} points the noise hides what lies under the limit: play longer tones"
        return CheckedClaim(text, "not enough evidence", lack)
    for tone_hz in sorted(tones):
        last = max(cell.level_dbfs for cell in cells if cell.tone_hz == tone_hz)
        above = [cell for cell in told if cell.tone_hz == tone_hz and cell.level_dbfs > below + AS_SAID_DB]
        after = [cell for cell in above if cell.level_dbfs == min(one.level_dbfs for one in above)]
        if last < below - AS_SAID_DB and (not after or not all(cell.clean(limit) for cell in after)):
            lack = f"no tone of {tone_hz} Hz between {number_text(last, 1)} dBFS, where it is clean, and "
            lack += f"{number_text(after[0].level_dbfs, 1)} dBFS, where it is not" if after else "this level"
            return CheckedClaim(text, "not enough evidence", f"{lack}: claim less, or play one there")
    return CheckedClaim(text, "supported", f"{len(cells)} readings at {len(tones)} frequencies, none above")


@dataclass(frozen=True)
class _Harmonic:
    """A harmonic at a step, NaN where hidden, and the limit under which noise would hide it."""

    channel: int
    level_dbfs: float
    tone_hz: int
    order: int
    dbc: float
    limit_dbc: float

    def clean(self, most_dbc: float) -> bool:
        """Whether it is known not to lie above a level."""
        return (self.limit_dbc if math.isnan(self.dbc) else self.dbc) <= most_dbc


def _harmonics(profile: Profile) -> Iterable[_Harmonic]:
    """Yield the harmonics of every step that has a level."""
    if (table := profile.curves.get("harmonics")) is None:
        return
    level, tone, limit = (numbers(table, name) for name in ("input_dbfs", "frequency_hz", "limit_dbc"))
    for row in np.flatnonzero(np.isfinite(level + tone)):
        for order in range(2, 11):
            dbc = numbers(table, f"h{order}_dbc")[row]
            yield _Harmonic(profile.channel, level[row], round(tone[row]), order, dbc, limit[row])


def _listed(items: Sequence[Difference]) -> str:
    shown = [f"{in_sentence(item.name)} {item.text}" for item in items[:6]]
    more = f"; and {len(items) - 6} more" if len(items) > 6 else ""
    return "; ".join(shown) + more


def _lacking(items: Sequence[Difference]) -> str:
    if not items:
        return "nothing that was measured speaks to it"
    named = "; ".join(dict.fromkeys(in_sentence(item.name) for item in items[:6]))
    reasons = "; ".join(dict.fromkeys(item.reason for item in items[:3] if item.reason))
    need = reasons or "repeats of each setting would narrow the intervals"
    return f"open: {named}. {need[0].upper()}{need[1:]}"
