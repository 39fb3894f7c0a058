"""What is said of a fit: what the stage is, how well it is met, where it does not agree with the profile."""

from __future__ import annotations

import numpy as np

from charprobe.profile.profile import Profile
from charprobe.replica.filters import response
from charprobe.replica.fitting.found import Found
from charprobe.replica.fitting.harmonics_met import missed_harmonics
from charprobe.replica.fitting.proof import Proved
from charprobe.replica.flat import value_at
from charprobe.replica.model import GOOD_DB, Disagreement, Replica
from charprobe.replica.parts import Chain
from charprobe.values.quantity import Z95
from charprobe.values.wording import number_text, under_text

WIRE_DB = 0.005
BEYOND_NOISE = 1.5  # times what noise leaves, with the finest error that is weighed: more is the model's own
WIDEST_DB = 30.0  # either way, of a level or a slope: what is known no better is not told
WIDEST_LOG = np.log(10)  # a time or a frequency not told so well is not told
STEPS_HZ = 997.0  # of the level steps that the static curve is measured with


def notes_of(
    found: Found,
    proved: Proved | None,
    profile: Profile,
    *,
    rate_hz: int,
    programme: bool,
    differing: tuple[Disagreement, ...],
) -> tuple[str, ...]:
    """Sentences on a fit, the most important first."""
    notes = [_kind(found, profile)]
    if proved is None:
        why = "its programme is spoiled in this capture" if programme else "this stimulus has none"
        notes.append(
            f"Not proved: a proof needs programme the fit never hears, and {why}; capture `standard` "
            "or `full`, or prove it on a dry and a processed take of your own."
        )
        if found.error_db > GOOD_DB:
            notes.append(
                "No model of this family meets the stage: on the stimulus itself the error lies "
                f"{under_text(found.error_db)}, greatest in {found.worst!r}. Trust "
                "the measured profile, not this replica."
            )
    else:
        proof = proved.proof
        numbers = (
            f"on programme the fit never heard the error lies {under_text(proof.residual_db)}, "
            f"and the gain is met to {number_text(proof.gain_error_db, 3)} dB rms"
        )
        if proof.stands:
            notes.append(f"Proved: {numbers}.")
            if proved.score > BEYOND_NOISE:
                notes.append(
                    f"Noise alone would leave {number_text(proof.noise_db, 0)} dB: the rest is the model's "
                    "own error. The stage does a little that no structure here has, such as moving by "
                    "itself, or a part named above stands for another; intervals are widened for it."
                )
        else:
            notes.append(
                f"No model of this family meets the stage: {numbers}. On the stimulus itself the error is "
                f"{number_text(found.error_db, 0)} dB, greatest in {found.worst!r}: a stage of several "
                "bands, one that moves by itself, or a law no structure here has. Trust the measured "
                "profile, not this replica."
            )
        if found.cut_short and proved.score > BEYOND_NOISE:
            notes.append(
                "The search ended with its budget of work spent, not with nothing left to try: another "
                "structure may meet the stage better."
            )
    if found.equally_good:
        count = len(found.equally_good)
        others = "1 other structure explains" if count == 1 else f"{count} other structures explain"
        notes.append(f"{others} the stage as well; the intervals of the numbers span them.")
    if missed := missed_harmonics(found.chain, profile, rate_hz=rate_hz):
        notes.append(missed)
    if differing:
        names = ", ".join(item.quantity for item in differing)
        notes.append(f"The replica does not agree with the measured {names}: trust what was measured.")
    return tuple(notes)


def told_of(replica: Replica) -> str:
    """Sentences, numbers and proofs of a replica for the terminal."""
    lines = [*replica.notes]
    known = replica.posterior
    for i, (place, log) in enumerate(zip(known.places, known.logarithmic, strict=True)):
        value, name = value_at(replica.chain, place), place.removeprefix("cell.")
        reach = Z95 * float(np.sqrt(known.covariance[i][i]))
        if reach > (WIDEST_LOG if log else WIDEST_DB):
            within = " within a factor of ten" if log else ""
            lines.append(f"  {name:<28} {value:.5g}  not told{within}")
            continue
        low, high = (value * np.exp(-reach), value * np.exp(reach)) if log else (value - reach, value + reach)
        lines.append(f"  {name:<28} {value:.5g}  [{low:.5g}, {high:.5g}]")
    for proof in replica.proofs:
        lines.append(
            f"  proof, {proof.material}: residual {number_text(proof.residual_db, 1)} dB (worst second "
            f"{number_text(proof.worst_residual_db, 1)} dB; noise alone "
            f"{number_text(proof.noise_db, 1)} dB), gain error "
            f"{number_text(proof.gain_error_db, 3)} dB rms, "
            f"{number_text(100 * proof.explained, 2)} % of the gain's changes explained"
        )
    for item in replica.disagreements:
        lines.append(
            f"  {item.quantity}: measured {item.measured_low:.5g} to {item.measured_high:.5g} {item.unit}, "
            f"in the replica {item.fitted:.5g}"
        )
    lines += [f"  as good: {words}" for words in replica.equally_good]
    return "\n".join(lines) + "\n"


FILTERED = {
    (False, False): "",
    (False, True): " and a filter",
    (True, False): " and a filter ahead of all",
    (True, True): " and filters ahead of all and behind",
}  # whether there is one ahead, and behind


def no_colour(profile: Profile) -> str:
    """That there is no colour; where tones showed some, that the replica leaves it out."""
    tones = profile.curve("harmonics") if "harmonics" in profile.curves else {}
    shown = np.where(tones.get("origin", np.array("none")) == "colour", tones.get("thd_dbc", np.nan), np.nan)
    if np.isnan(shown).all():
        return "no colour"
    most = int(np.nanargmax(shown))
    hz, dbfs = (number_text(tones[name][most], 0) for name in ("frequency_hz", "input_dbfs"))
    return (
        "no colour in the replica, which leaves out what tones showed, up to "
        f"{number_text(shown[most], 0)} dB re the tone (harmonics at {hz} Hz and {dbfs} dBFS)"
    )


def _kind(found: Found, profile: Profile) -> str:
    cell, colour = found.chain.cell, found.chain.colour
    filtered = FILTERED[bool(found.chain.filter_in), bool(found.chain.filter_out)]
    none = no_colour(profile)
    if not found.fitted and not colour.amplitude:
        if abs(cell.makeup_db) < WIRE_DB and not filtered and none == "no colour":
            return "A wire: neither gain, dynamics nor colour that this stimulus shows."
        if found.error_db > GOOD_DB:
            return f"Nothing met it better than a gain of {number_text(cell.makeup_db, 2)} dB{filtered}."
        return f"A gain of {number_text(cell.makeup_db, 2)} dB{filtered}: no dynamics, {none}."
    if not found.fitted:
        return f"Colour alone{filtered}: a curve without memory, no dynamics."
    place = {"behind": "behind", "before": "ahead of", "in loop": "inside the loop of"}
    coloured = f"; colour {place[colour.place]} the gain cell" if colour.amplitude else f"; {none}"
    return f"Gain cell: {found.fitted[0].structure.in_words()}{coloured}{filtered}."


def disagreements(chain: Chain, profile: Profile) -> tuple[Disagreement, ...]:
    """Quantities whose measured interval does not hold the number that the chain has for the same."""
    cell = chain.cell
    filters = (*chain.filter_in, *chain.filter_out)
    tone = response(filters, np.array([STEPS_HZ])) if filters else np.ones(1)
    fitted = {"static.low_level_gain": cell.makeup_db + 20 * float(np.log10(np.abs(tone[0])))}
    if len(cell.bends) == 1 and cell.bends[0].side == "above" and not chain.colour.amplitude:
        bend = cell.bends[0]
        back = cell.loop == "feedback"
        fitted["static.slope"] = 1 / (1 + bend.slope) if back else 1 - bend.slope
        if cell.detector.kind == "envelope":
            fitted["static.threshold"] = bend.threshold_dbfs
            if not back:
                fitted["static.knee_width"] = bend.knee_db
    found = []
    for name, value in fitted.items():
        reading = profile.measured(name)
        reach = 0.0 if reading is None else 1e-4 * max(1.0, abs(reading.value))
        if reading is not None and not reading.low - reach <= value <= reading.high + reach:
            found.append(Disagreement(name, reading.unit, reading.low, reading.high, value))
    return tuple(found)
