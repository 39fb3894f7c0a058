"""A setting in a few plain sentences: what it is, how quick, which colour, what it suits."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from charprobe.comparing.absence import reduces
from charprobe.comparing.colour_words import harmonics_words, shows_colour
from charprobe.profile.entry import NO_BYPASS, numbers
from charprobe.profile.profile import Profile
from charprobe.profile.standing import finding_in, spoilt_by
from charprobe.profile.told import AT_ONCE, SATURATED, Told
from charprobe.values.editors_digits import edited, edited_number, printed
from charprobe.values.quantity import Quantity, Unmeasured, is_told, value_or_least
from charprobe.values.wording import number_text

COLOUR_ALONE, FILTER = "Colour without compression", "Filter without compression"
PLAIN = "A plain path: no compression"
NO_TIMES = (COLOUR_ALONE, FILTER, PLAIN)  # levels that need no times
SHAPED_DB = 0.5  # a response that goes so far from its middle is a filter's
LIMITER_SLOPE = 0.07  # a ratio of about 15:1 and more
HARD_KNEE_DB = 1.0
FLAT_DB = 0.1  # a response that stays so close to its middle is called flat
FALL_DB = 1.6  # half of what it falls by between its corners, and a little more
LEAST_GAIN_DB, LEAST_REDUCTION_DB = 0.1, 0.05  # what is worth a word
ATTACKS_S = ((0.002, "very quick"), (0.010, "quick"), (0.030, "medium"), (float("inf"), "slow"))
RELEASES_S = ((0.060, "quick"), (0.200, "medium"), (0.600, "slow"), (float("inf"), "very slow"))


@dataclass(frozen=True)
class Portrait:
    """Four lines on a setting: what it does to level, how quick it is, its colour, what it suits or lacks.

    Each rests on published quantities alone; a line without anything to say is "".
    """

    level: str
    times: str
    colour: str
    use: str

    @property
    def lines(self) -> tuple[str, ...]:
        """The lines that say something."""
        return tuple(line for line in (self.level, self.times, self.colour, self.use) if line)

    @property
    def sentence(self) -> str:
        """All in one paragraph."""
        return " ".join(self.lines)


def portrait_of(profile: Profile) -> Portrait:
    """Describe a setting from its quantities."""
    level = _level(profile)
    times = "" if level.startswith(NO_TIMES) else _times(profile)
    return Portrait(level, times, _colour(profile), _use(profile))


def is_coloured(profile: Profile) -> bool:
    """Tell whether a setting adds harmonics of its own, at the reference tone or at another."""
    return shows_colour(profile.reading("colour.onset")) or bool(profile.told(Told.COLOUR))


def takes_no_time(profile: Profile) -> bool:
    """Tell whether what is lost follows the level at once, as no detector makes it."""
    release = profile.reading("release.t63")
    return isinstance(release, Unmeasured) and release.reason in (SATURATED, AT_ONCE)


def keep_under(profile: Profile) -> str:
    """Return the finding that says how high peaks may go for a clean sound, at the tone worst for it."""
    return profile.told(Told.PEAKS, " 0.1 % distortion")


def reference_tone(profile: Profile) -> str:
    """Return tone and level that harmonics are told at, such as "997 Hz at −10.0 dBFS"; "" without one."""
    entry = profile.quantities.get("colour.thd_at_reference")
    return entry.clauses[0].split(",")[0] if entry is not None and entry.clauses else ""


def response_words(profile: Profile) -> str:
    """Return what a setting does to the response; "" where that was not measured."""
    shelf, corner, tilt = (
        profile.measured(f"response.{name}") for name in ("shelf_gain", "shelf_corner", "tilt")
    )
    corners = [profile.measured(f"response.{end}_corner") for end in ("low", "high")]
    ends = " and ".join(edited(corner).number for corner in corners if corner is not None)
    falls = f"response −3\u00a0dB at {ends}" if ends else ""
    if shelf is not None and corner is not None and abs(shelf.value) >= FLAT_DB and tilt is not None:
        side = "above" if shelf.value * tilt.value > 0 else "below"
        word = "lifts" if shelf.value > 0 else "lowers"
        lifts = f"{word} what is {side} {edited(corner).number} by {edited_number(abs(shelf.value), 'dB')}"
        return f"{lifts}; {falls}" if falls else lifts
    reach = response_reach_db(profile, *(corner.value if corner else None for corner in corners))
    if reach is None:
        return ""
    flat = f"flat within {max(reach, 0.01):.2f} dB"
    if reach > FLAT_DB:
        flat = f"within ±{edited_number(reach, 'dB')}"
    if not falls:
        return f"response {flat}"
    return falls + (f", {flat} between" if reach > FALL_DB else "")


def response_reach_db(
    profile: Profile, from_hz: float | None = None, to_hz: float | None = None
) -> float | None:
    """Return how far the response at the lowest drive goes from its middle; None where there is none."""
    table = profile.curves.get("response")
    if table is None or not table.columns["frequency_hz"]:
        return None
    drive, level, hz = (numbers(table, name) for name in ("drive_dbfs", "magnitude_db", "frequency_hz"))
    inside = (drive == drive.min()) & (hz >= (from_hz or 0.0)) & (hz <= (to_hz or math.inf))
    return float(np.ptp(level[inside]) / 2) if inside.any() else None


def _level(profile: Profile) -> str:
    opens = profile.told(Told.GATE) or profile.told(Told.RISES) or profile.told(Told.LIFTS)
    unlike = profile.told(Told.UNLIKE)
    makeup = profile.reading("static.makeup_gain")
    if isinstance(makeup, Unmeasured):  # the gain at rest will do, unless it is the path's as well
        own = not opens and makeup.reason != NO_BYPASS
        makeup = profile.measured("static.low_level_gain") if own else None
    gain = ""
    if makeup is not None and abs(makeup.value) >= LEAST_GAIN_DB:
        gain = f", with {edited_number(abs(makeup.value), 'dB')} of {'gain' if makeup.value > 0 else 'loss'}"
    if reduces(profile) is False or (takes_no_time(profile) and is_coloured(profile)):
        if moves := profile.told(Told.ANSWERS_CHANGES):
            return moves
        bend = "" if takes_no_time(profile) else _lower_bend(profile)
        shaped = (response_reach_db(profile) or 0.0) > SHAPED_DB
        what = COLOUR_ALONE if is_coloured(profile) else FILTER if shaped else PLAIN
        return opens or unlike or f"{bend or what}{gain}."
    ratio, slope = profile.reading("static.ratio"), profile.measured("static.slope")
    threshold = profile.reading("static.threshold")
    if threshold is None or slope is None or ratio is None:
        most = profile.measured("static.max_reduction")
        if unlike and not opens:
            return unlike
        if most is not None and most.low > LEAST_REDUCTION_DB:
            return f"It reduces by up to {edited(most).number}{gain}; no straight part gives it a ratio."
        if opens:
            return opens
        if bend := _lower_bend(profile):
            return f"{bend}{gain}."
        if isinstance(threshold, Unmeasured):
            why = finding_in(threshold.reason, profile.health) or threshold.reason
            return f"Threshold and ratio not known ({why}){gain}."
        return ""
    knee = profile.measured("static.knee_width")
    shape = ""
    if knee is not None:
        widest = knee.value if knee.low > 0 else knee.high
        wide = edited(knee).number if knee.low > 0 else f"at most {edited_number(widest, 'dB')}"
        shape = ", hard knee" if widest < HARD_KNEE_DB else f", knee of {wide}"
    kind = "Limiter" if slope.value < LIMITER_SLOPE else "Compressor"
    steep = edited(ratio).number if is_told(ratio) else f"slope {edited(slope).number}"
    if slope.high < 0:
        kind, steep = "Over-compressor (louder in is softer out)", f"slope {edited(slope).number}"
    at = ""
    if is_told(threshold):
        number = edited(threshold).number
        beyond = {"≤ ": " or lower", "≥ ": " or higher"}.get(number[:2], "")
        at = f" from {number[2:] if beyond else number}{beyond}"
    lower = _lower_bend(profile) or opens.partition(";")[0].rstrip(".")
    beside = f"; {lower[0].lower()}{lower[1:]}" if lower else ""
    return " ".join(filter(None, (f"{kind}, {steep}{at}{shape}{_then(profile)}{gain}{beside}.", unlike)))


def _then(profile: Profile) -> str:
    """What comes above a second bend that is known; "" without one."""
    threshold, slope = profile.measured("static.second_threshold"), profile.measured("static.second_slope")
    if threshold is None or slope is None or slope.low > 1:  # a gain that rises is said by itself
        return ""
    at, yet = f" from {edited(threshold).number}", profile.told(Told.STEEPER).rstrip(".")
    if slope.low <= 0:
        return f", limiting{at}"
    ratio = Quantity(1 / slope.value, 1 / slope.high, 1 / slope.low, ":1")
    return f", then {edited(ratio).number}{at}" + (f", {yet[0].lower()}{yet[1:]}" if yet else "")


def _lower_bend(profile: Profile) -> str:
    lower, slope = profile.measured("static.lower_threshold"), profile.measured("static.lower_slope")
    if lower is None or slope is None or profile.told(Told.DEAD):
        return ""
    if slope.value > 1:
        steep = edited_number(slope.value, ":1").removesuffix(":1")
        return f"Expander, 1:{steep} below {edited(lower).number}"
    if slope.low <= 0:
        return f"Upward compressor, working below {edited(lower).number}"
    ratio = Quantity(1 / slope.value, 1 / slope.high, 1 / slope.low, ":1")
    return f"Upward compressor, {edited(ratio).number} below {edited(lower).number}"


def _times(profile: Profile) -> str:
    parts = []
    for word, steps in (("attack", ATTACKS_S), ("release", RELEASES_S)):
        reading = profile.reading(f"{word}.t63")
        if reading is None or not is_told(reading):
            continue
        number = edited(reading).number.replace("≥", "at least").replace("≤", "at most")
        ahead = profile.measured("attack.lookahead") if word == "attack" else None
        if ahead is not None and not isinstance(reading, Quantity):
            parts.append(f"{word} done ahead of the sound (look-ahead {edited(ahead).number})")
            continue
        quick = ""
        if isinstance(reading, Quantity):
            quick = next(name for most, name in steps if printed(reading) < most) + " "
        parts.append(f"{quick}{word} ({number})")
    if not parts:
        return ""
    words = " and ".join(parts)
    stages = profile.measured("release.stages")
    tail = profile.measured("release.t90")
    two = ""
    if stages is not None and stages.value > 1.5 and tail is not None:
        two = f" with a slower second part ({edited(tail).number} to 90 %)"
    return f"{words[0].upper()}{words[1:]}{two}."


def _colour(profile: Profile) -> str:
    parts = []
    onset = profile.reading("colour.onset")
    if shows_colour(onset):
        values = {name: [entry.reading] for name, entry in profile.quantities.items()}
        parts.append(f"adds {harmonics_words(values, 0, where=reference_tone(profile))}")
    elif elsewhere := profile.told(Told.COLOUR):
        parts.append(f"{elsewhere[0].lower()}{elsewhere[1:]}".rstrip("."))
    elif isinstance(onset, Unmeasured) and onset.at_least is not None:
        parts.append(f"no colour found up to {number_text(onset.at_least, 1)} dBFS")
    parts += [words] if (words := response_words(profile)) else []
    parts += ["inverts polarity"] if profile.told(Told.INVERTS) else []
    text = "; ".join(parts)
    return f"{text[0].upper()}{text[1:]}." if text else ""


def _use(profile: Profile) -> str:
    """Say what a setting suits, or what spoiled its take: that comes first."""
    if spoilt := spoilt_by(profile):
        whole = any(item.severity == "stop" for item in profile.health)
        what = "The take is spoiled" if whole else "Part of the take is of no use"
        return f"{what} ({', '.join(spoilt)}): what it cost is left out."
    attack, release = profile.measured("attack.t63"), profile.measured("release.t63")
    depths = numbers(profile.curves["timing"], "reduction_db") if "timing" in profile.curves else np.zeros(1)
    lifts = bool((depths < 0).any()) and not (depths > 0).any()
    if reduces(profile) and not lifts and attack is not None and release is not None:
        first = "Catches peaks" if printed(attack) < ATTACKS_S[1][0] else "Lets the start of a sound through"
        then = "holds the level steady"
        if printed(release) < RELEASES_S[1][0]:
            ends_s = value_or_least(profile.reading("release.t90")) or 0.0
            slowly = ends_s > math.log(10) * RELEASES_S[1][0]
            then = f"recovers {'most of the way ' if slowly else ''}between words"
        return f"{first} and {then}."
    return keep_under(profile) if is_coloured(profile) else ""
