"""What a session and its claims still lack, seen from the session file and the recipe alone."""

from __future__ import annotations

from collections.abc import Iterator

from charprobe.comparing.comparison import in_sentence
from charprobe.comparing.curves import CURVES
from charprobe.profile.glossary import SERVES
from charprobe.session.claims import FEWEST_TONES
from charprobe.session.file import Claim, Session
from charprobe.stimulus.kinds.steady import Tones
from charprobe.stimulus.recipe import Recipe, load_recipe
from charprobe.values.wording import literal, number_text

ONLY_FROM = {"release.memory": "burst_lengths"}  # quantities of a group that has another kind of segment too
OFFERED = ("quick", "standard", "full")  # recipes to go to, shortest first


def needs_of(session: Session, recipe: Recipe) -> list[str]:
    """Return what is missing for good numbers and for each claim, one sentence each."""
    needs = []
    if session.bypass is None and session.bypass_take is None:
        needs.append("No bypass: make-up gain, latency, colour and response re bypass will not be given.")
    if all(len(setting.captures) < 2 for setting in session.settings):
        needs.append(
            "No setting is listed twice: without a repeat nobody knows what moves by itself. List "
            f"{literal(session.settings[0].name)} once more, captured last."
        )
    for claim in session.claims:
        needs += [line for line in _claim_needs(claim, session, recipe) if line not in needs]
    return needs


def _claim_needs(claim: Claim, session: Session, recipe: Recipe) -> Iterator[str]:
    who = " and ".join(map(literal, claim.settings))
    if claim.says == "clean below":
        yield from _tones_needed(claim, who, recipe)
        return
    few = [s.name for s in session.settings if s.name in claim.settings and len(s.captures) < 2]
    names = ", ".join(map(literal, few))
    if claim.says == "different":
        if len(few) == len(claim.settings):
            yield f"The claim that {who} are different asks for a repeat of one of them."
    elif few:
        yield f"The claim that {who} are {claim.says} asks for repeats of {names}."
    if claim.says == "identical":
        yield (
            f"The claim that {who} are identical speaks of what was captured: of a design it tells only with "
            "two or more units, or several channels, of each."
        )
    kinds = {spec.kind for spec in recipe.segments}
    wanted = ["level_steps", "sweep"] if claim.says == "only louder" else [_segment_for(claim.of, kinds)]
    for kind in wanted:
        if kind and kind not in kinds:
            what = in_sentence(claim.of) if claim.of else claim.says
            yield (
                f"The claim on {what} of {who} asks for a {kind} segment, which the recipe {recipe.name} "
                f"lacks{_offer(kind)}."
            )


def _segment_for(of: str, kinds: set[str]) -> str:
    """Return the kind of segment that serves a quantity or curve: one the recipe has, if there is one."""
    curve = CURVES.get(of or "static curve")  # what a claim speaks of that names nothing
    if curve is not None:
        return curve.segment
    if of in ONLY_FROM:
        return ONLY_FROM[of]
    group = of.partition(".")[0]
    exact = [kind for kind, names in SERVES.items() if of in names]
    serving = exact or [kind for kind, names in SERVES.items() if group in names]
    return next((kind for kind in serving if kind in kinds), serving[0] if serving else "")


def _offer(kind: str) -> str:
    recipes = (name for name in OFFERED if any(s.kind == kind for s in load_recipe(name).segments))
    name = next(recipes, None)
    return "" if name is None else f": capture the recipe {name}"


def _tones_needed(claim: Claim, who: str, recipe: Recipe) -> Iterator[str]:
    below = claim.below_dbfs
    assert below is not None  # the session file holds it for this kind
    tones = [spec for spec in recipe.segments if isinstance(spec, Tones)]
    reaching = {hz for spec in tones if max(spec.levels_dbfs) >= below for hz in spec.frequencies_hz}
    if len(reaching) < FEWEST_TONES:
        yield (
            f"The claim that {who} is clean below {number_text(below, 1)} dBFS asks for tones of "
            f"{FEWEST_TONES} frequencies up to that level; the recipe {recipe.name} has "
            f"{len(reaching)}{_offer('tones')}."
        )
