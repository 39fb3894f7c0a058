"""What a session asks for: captures in a good order, how long they take, and what each claim still lacks."""

from __future__ import annotations

from charprobe.generators.render import lay_out
from charprobe.recipe import load_recipe
from charprobe.session_file import Claim, Session
from charprobe.wording import literal

RATE_HZ = 48_000  # the length of a recipe hardly depends on the rate
CHANGE_OVER_S = 45.0  # to turn a knob, name a file, start the recorder
CAUTIONS = (
    "Take headphones off and disconnect loudspeakers before playing: test tones hurt ears and tweeters.",
    "Switch phantom power off, and wait, before patching an output into a microphone input.",
    "Turn monitoring and mixer returns off: an output patched to an input can howl.",
)


def plan_text(session: Session) -> str:
    """Return the plan of a session as text, captures that are still missing marked.

    The first setting is captured once more at the end: what has changed by then is drift, not the device.

    Raises
    ------
    RecipeError
        If the recipe does not exist or is not valid.
    """
    own = session.path.resolve().parent / session.recipe
    recipe = load_recipe(own if own.suffix == ".toml" and own.is_file() else session.recipe)
    length_s = lay_out(recipe, rate_hz=RATE_HZ, take=1).duration_s
    rows = _rows(session)
    lines = [f"{literal(session.title)}: recipe {recipe.name}, {length_s:.0f} s a capture", ""]
    for number, (name, where, there) in enumerate(rows, start=1):
        lines.append(f"{number:>3}  {name}  ->  {where}  [{'there' if there else 'to be captured'}]")
    missing = [where for _, where, there in rows if not there]
    minutes = len(missing) * (length_s + CHANGE_OVER_S) / 60
    lines += [
        "",
        f"{len(missing)} of {len(rows)} captures to go, about {minutes:.0f} minutes with change-over.",
    ]
    lines += [f"- {advice}" for advice in _advice(session)]
    lines += ["", "Before you play:", *(f"- {caution}" for caution in CAUTIONS)]
    return "\n".join(lines)


def _rows(session: Session) -> list[tuple[str, str, bool]]:
    """Every capture in a good order: what it is of, the file or the take it will be known by, is it there."""
    listed = [("loop-back, without the device", session.loopback), ("bypass, stage off", session.bypass)]
    rows = [(name, path.name, path.is_file()) for name, path in listed if path]
    if session.bypass is None and session.bypass_take is not None:
        rows.append(("bypass, stage off", f"take {session.bypass_take}", False))
    for setting in session.settings:
        name = literal(setting.name)
        rows += [(name, path.name, path.is_file()) for path in setting.captures]
        if not setting.captures:
            rows.append((name, f"take {setting.take}, under any name in {_pool_name(session)}", False))
    return rows


def _pool_name(session: Session) -> str:
    return session.pool.name if session.pool else "the pool"


def _advice(session: Session) -> list[str]:
    advice = []
    if session.bypass is None and session.bypass_take is None:
        advice.append("No bypass: make-up gain, latency, colour and response re bypass will not be given.")
    single = [literal(s.name) for s in session.settings if len(s.captures) < 2]
    if len(single) == len(session.settings):
        first = literal(session.settings[0].name)
        advice.append(
            f"Capture {first} once more at the end and list it as its second capture: without a repeat "
            "nobody knows what moves by itself."
        )
    return advice + [line for claim in session.claims if (line := _claim_advice(claim, session))]


def _claim_advice(claim: Claim, session: Session) -> str:
    """Say what a claim of sameness lacks: repeats of all settings it names."""
    if claim.says not in ("same", "identical", "only louder"):
        return ""
    few = [s.name for s in session.settings if s.name in claim.settings and len(s.captures) < 2]
    if not few:
        return ""
    names = ", ".join(literal(name) for name in few)
    who = " and ".join(map(literal, claim.settings))
    return f"The claim that {who} are {claim.says} asks for repeats of {names}."
