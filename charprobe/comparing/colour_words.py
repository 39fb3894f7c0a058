"""What the settings of a comparison add in colour, in one sentence: how much, of which kind, from where."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from charprobe.comparing.listed import listed
from charprobe.values.editors_digits import edited
from charprobe.values.quantity import Quantity, Reading, Unmeasured

CLEAR_DB = 6.0  # by which one kind of harmonics has four times the power of the other
Values = Mapping[str, Sequence[Reading | None]]


def colour_sentence(labels: Sequence[str], values: Values, *, tones: Sequence[str] = ()) -> str:
    """Return the sentence; "" where no setting shows colour of its own. `tones` say where none was found."""
    alike: dict[str, list[str]] = {}
    for index in coloured(labels, values):
        alike.setdefault(harmonics_words(values, index), []).append(labels[index])
    if not alike:
        return ""
    told = [f"{listed(names)} add{'s' * (len(names) == 1)} {words}" for words, names in alike.items()]
    clean = [labels[index] for index in colourless(values)]
    at = f" at {listed(list(dict.fromkeys(tones)))}" if tones else ""
    rest = f"; {listed(clean)}: none found{at}" if clean else ""
    return f"Colour: {'; '.join(told)}{rest}."


def coloured(labels: Sequence[str], values: Values) -> list[int]:
    """Return the numbers of the settings whose harmonics exceed the bypass from some level on."""
    onsets = values.get("colour.onset", [None] * len(labels))
    return [index for index, onset in enumerate(onsets) if shows_colour(onset)]


def colourless(values: Values) -> list[int]:
    """Return the numbers of the settings that are known to add none: what they distort is gain ripple."""
    return [index for index, onset in enumerate(values.get("colour.onset", ())) if _none(onset)]


def harmonics_words(values: Values, index: int, *, where: str = "") -> str:
    """Return which harmonics a setting adds, from which level and how much; `where` that was measured."""
    balance, thd, onset = (
        values.get(f"colour.{name}", [None] * (index + 1))[index]
        for name in ("even_odd_balance", "thd_at_reference", "onset")
    )
    kind = "harmonics"
    if isinstance(balance, Unmeasured) and balance.bounded:
        kind = "only odd harmonics" if balance.at_least is None else "only even harmonics"
    elif isinstance(balance, Quantity):
        kind = "even and odd harmonics"
        if balance.low > CLEAR_DB:
            kind = "mostly even harmonics"
        elif balance.high < -CLEAR_DB:
            kind = "mostly odd harmonics"
    begins = ""
    if isinstance(onset, Quantity):
        begins = f" from {edited(onset).number} up"
    elif onset is not None and shows_colour(onset):
        at = edited(onset).number
        begins = f" from below {at[2:]} up" if at.startswith("≤ ") else f" from somewhere within {at} up"
    much = (
        f" (THD {edited(thd).number}{f' for {where}' if where else ''})" if isinstance(thd, Quantity) else ""
    )
    return f"{kind}{begins}{much}"


def shows_colour(onset: Reading | None) -> bool:
    """Tell from the onset of colour whether there is any: from a level on, or from below the lowest one."""
    return isinstance(onset, Quantity) or (onset is not None and onset.at_most is not None)


def _none(onset: Reading | None) -> bool:
    return isinstance(onset, Unmeasured) and onset.at_least is not None and onset.at_most is None
