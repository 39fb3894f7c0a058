"""Steady lines beside tones that are no harmonics of them: aliasing, hum, spurs."""

from __future__ import annotations

from collections.abc import Sequence

from charprobe.estimators.colour.level_rung import LevelRung
from charprobe.estimators.tone_residual import StrayLine
from charprobe.profile.entry import Cell, Table
from charprobe.values.quantity import Quantity
from charprobe.values.wording import number_text, rounded_text

LEAST_DBFS = -120.0  # lines below are not listed
MOST = 6  # lines listed per tone
STRONG_DBC = -70.0  # from here on the strongest line is worth a sentence
SAME_HZ = 6.0  # two readings of one line in cuts of a tenth of a second differ by less
NEAR_DB = 6.0  # a line this little above that of the bypass may be the recorder's own
FOLDED_ORDERS = 60  # highest order looked at as a source of aliasing
COLUMNS = {
    "input_dbfs": "dBFS",
    "frequency_hz": "Hz",
    "line_hz": "Hz",
    "line_std_hz": "Hz",
    "level_dbc": "dBc",
    "level_std_db": "dB",
    "folded_order": "",
}


def stray_table(rungs: Sequence[LevelRung], *, rate_hz: float) -> Table:
    """List the lines of every tone that the bypass does not show as strong, strongest first.

    Parameters
    ----------
    rungs : sequence of LevelRung
        Tones of any frequency.
    rate_hz : float
        Sampling rate of the capture; an order mirrored at half of it explains a line by aliasing.
    """
    rows: list[tuple[Cell, ...]] = []
    for rung in rungs:
        tone_hz = rung.cell.tone.frequency_hz
        for line in _own(rung)[:MOST]:
            order = folded_order(tone_hz, line.frequency_hz, rate_hz=rate_hz)
            place = (line.frequency_hz, line.frequency_std_hz)
            rows.append((rung.input_dbfs, tone_hz, *place, line.level_dbc, line.level_std_db, order))
    return Table({name: [row[i] for row in rows] for i, name in enumerate(COLUMNS)}, COLUMNS)


def stray_finding(rungs: Sequence[LevelRung], *, rate_hz: float) -> tuple[str, ...]:
    """Tell the strongest line in a sentence, where it is strong."""
    strongest = max(
        ((line, rung) for rung in rungs for line in _own(rung)[:1]),
        key=lambda pair: pair[0].level_dbc,
        default=None,
    )
    if strongest is None or strongest[0].level_dbc < STRONG_DBC:
        return ()
    line, rung = strongest
    tone = rung.cell.tone
    order = folded_order(tone.frequency_hz, line.frequency_hz, rate_hz=rate_hz)
    cause = "" if order is None else f": harmonic {order} mirrored by the sampling, aliasing"
    played = f"{rounded_text(tone.frequency_hz, 5)} Hz at {number_text(rung.input_dbfs, 1)} dBFS"
    found = f"{line.frequency_hz:.0f} Hz, {number_text(line.level_dbc, 1)} dBc"
    return (f"A tone of {played} brings a line at {found}, that is no harmonic{cause}.",)


def folded_order(tone_hz: float, line_hz: float, *, rate_hz: float) -> int | None:
    """Return the lowest order of a tone above half the rate that sampling mirrors to a line, else None.

    Examples
    --------
    >>> folded_order(5003.0, 7976.0, rate_hz=48_000.0), folded_order(5003.0, 9000.0, rate_hz=48_000.0)
    (8, None)
    """
    for order in range(2, FOLDED_ORDERS + 1):
        whole = order * tone_hz
        mirrored = abs(whole - rate_hz * round(whole / rate_hz))
        if whole > rate_hz / 2 and abs(mirrored - line_hz) < SAME_HZ:
            return order
    return None


def _own(rung: LevelRung) -> list[StrayLine]:
    """Lines strong enough to be listed that stand 6 dB over any the bypass has in their place."""
    level = rung.cell.fundamental
    if not isinstance(level, Quantity) or not rung.cell.settled:
        return []  # beside a tone whose gain moves, its skirts look like lines
    rig = () if rung.rig is None else rung.rig.strays
    return [
        line
        for line in rung.cell.strays
        if line.level_dbc + level.value > LEAST_DBFS and not any(_same(line, other) for other in rig)
    ]


def _same(line: StrayLine, other: StrayLine) -> bool:
    near = abs(line.frequency_hz - other.frequency_hz) < SAME_HZ
    return near and line.level_dbc < other.level_dbc + NEAR_DB
