"""What a session asks for: captures in a good order, and how long they take."""

from __future__ import annotations

from dataclasses import dataclass

from charprobe.session.file import Session, SessionSetting
from charprobe.session.needs import needs_of
from charprobe.stimulus.cautions import CAUTIONS, FIRST_PLAY
from charprobe.stimulus.recipe import load_recipe
from charprobe.stimulus.render import lay_out
from charprobe.values.wording import literal

RATE_HZ = 48_000  # the length of a recipe hardly depends on the rate
CHANGE_OVER_S = 45.0  # to turn a knob, name a file, start the recorder


@dataclass(frozen=True)
class _Row:
    """One capture of the plan: what it is of, the file or the take it will be known by, is it there."""

    name: str
    where: str
    there: bool


def plan_text(session: Session) -> str:
    """Return the plan of a session as text, captures that are still missing marked.

    The path comes first, then every setting once, then the repeats round by round; a setting of the first
    round comes last of all: what has changed by then is drift, not the device. Where the session lists no
    repeat, the plan adds that one. `RecipeError` if the recipe does not exist or is not valid.
    """
    recipe = load_recipe(session.own_recipe or session.recipe)
    length_s = lay_out(recipe, rate_hz=RATE_HZ, take=1).duration_s
    rows = [*_path_rows(session), *_setting_rows(session)]
    lines = [f"{literal(session.title)}: recipe {recipe.name}, {length_s:.0f} s a capture", ""]
    for number, row in enumerate(rows, start=1):
        state = "there" if row.there else "to be captured"
        lines.append(f"{number:>3}  {row.name}  ->  {row.where}  [{state}]")
    missing = sum(not row.there for row in rows)
    minutes = missing * (length_s + CHANGE_OVER_S) / 60
    lines += [
        "",
        f"{missing} of {len(rows)} captures to go, about {minutes:.0f} minutes with change-over.",
        *(f"- {advice}" for advice in needs_of(session, recipe)),
        "",
        CAUTIONS,
        FIRST_PLAY,
    ]
    return "\n".join(lines)


def _path_rows(session: Session) -> list[_Row]:
    listed = [("loop-back, without the device", session.loopback), ("bypass, stage off", session.bypass)]
    rows = [_Row(name, path.name, path.is_file()) for name, path in listed if path]
    if session.bypass is None and session.bypass_take is not None:
        rows.append(_Row("bypass, stage off", f"take {session.bypass_take}", there=False))
    return rows


def _setting_rows(session: Session) -> list[_Row]:
    settings, rows = session.settings, []
    for number in range(max((len(setting.captures) for setting in settings), default=0) or 1):
        again = [setting for setting in settings if number == 0 or len(setting.captures) > number]
        if number > 0:  # the earliest one comes last
            again = [*again[1:], again[0]]
        rows += [_row(session, setting, number) for setting in again]
    if all(len(setting.captures) < 2 for setting in settings):
        rows.append(_row(session, settings[0], 1))
    return rows


def _row(session: Session, setting: SessionSetting, number: int) -> _Row:
    name = literal(setting.name) + (" once more" if number else "")
    if number < len(setting.captures):
        path = setting.captures[number]
        return _Row(name, path.name, path.is_file())
    if setting.take is not None:
        pool = session.pool.name if session.pool else "the pool"
        return _Row(name, f"take {setting.take}, under any name in {pool}", there=False)
    return _Row(name, "list it as its second capture", there=False)
