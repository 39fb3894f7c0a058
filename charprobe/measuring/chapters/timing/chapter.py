"""The timing chapter: attack and release at the reference step, and how they depend on the programme."""

from __future__ import annotations

from collections.abc import Sequence

from charprobe.estimators.static.curve import StaticCurve
from charprobe.estimators.timing.edge.times import EdgeTimes
from charprobe.estimators.timing.release_kind import ReleaseKind
from charprobe.estimators.timing.trace.gain_trace import GainTrace
from charprobe.measuring.chapters.lookup import absent
from charprobe.measuring.chapters.timing.burst_health import (
    gap_health,
    history,
    is_reference,
    reference_health,
    remembers,
)
from charprobe.measuring.chapters.timing.detail import (
    AHEAD,
    attack_detail_table,
    definitions_table,
    moves_ahead,
)
from charprobe.measuring.chapters.timing.findings import timing_words
from charprobe.measuring.chapters.timing.loop import open_loop_entry
from charprobe.measuring.chapters.timing.rows import BurstRow, measure_rows
from charprobe.measuring.chapters.timing.tables import gain_trace_table, timing_table
from charprobe.measuring.chapters.timing.train import NAMES as TRAIN_NAMES
from charprobe.measuring.chapters.timing.train import (
    measure_train,
    train_entries,
    train_sentence,
    train_tables,
)
from charprobe.placing.take import Take, held
from charprobe.profile.entry import Chapter, Entry, Health, Published, unmeasured
from charprobe.profile.glossary import term
from charprobe.profile.told import AT_ONCE, SATURATED
from charprobe.stimulus.kinds.bursts import BurstLengths, Bursts
from charprobe.values.quantity import Quantity, Reading, Unmeasured, value_or_least
from charprobe.values.wording import number_text

ATTACK_NAMES = (
    "attack.delay",
    "attack.t50",
    "attack.t63",
    "attack.t90",
    "attack.within_2db",
    "attack.within_3db",
    "attack.initial_slope",
    "attack.overshoot",
    "attack.lookahead",
)
RELEASE_NAMES = (
    "release.hold",
    "release.t50",
    "release.t63",
    "release.t90",
    "release.within_2db",
    "release.within_4db",
    "release.rate",
    "release.stages",
    "release.tau_1",
    "release.tau_2",
    "release.tau_1_share",
)
LOOK_AT_COLOUR = "none needed; look at the colour of the setting"
TURNS = "the carrier's phase turns as the gain moves, which blurs when it starts"
INAUDIBLE = (
    "the bursts do not stand out of the noise",
    "check path and level, close idle mutes, and retake",
)
"""Why there is no time, and what to do, where a stage only saturates and where nothing is heard."""
RECIPE = "quick"
MEMORY_RECIPE = "standard"
AT_ONCE_PERIODS = 2.0
TURNED_DB = 0.02  # of gain that a turn of the carrier's phase costs, from which a start is blurred


def timing_chapter(wet: Take, bypass: Take | None, static: StaticCurve | None) -> Chapter:
    """Time attack and release of a setting from its bursts and burst_lengths segments.

    Parameters
    ----------
    wet, bypass : Take
        Captures of the setting and, if there is one, of the bypass, which serves as dry reference.
    static : StaticCurve or None
        The static curve: a stage that only saturates reduces no gain, and has no times; and a release that
        ends short of the settled gain at the low level is not finished.

    Returns
    -------
    Chapter
        Attack and release at the reference step; the tables `timing`, `gain_trace`, `attack_detail`,
        `timing_definitions`, `burst_train` and `burst_train_trace`; health and findings.
    """
    if static is not None and static.only_saturates:
        others = ("release.memory", "release.open_loop_ratio", *TRAIN_NAMES)
        return Chapter(unmeasured((*ATTACK_NAMES, *RELEASE_NAMES, *others), SATURATED, LOOK_AT_COLOUR))
    rows = measure_rows(wet, bypass, static)
    bursts = tuple(row for row in rows if isinstance(row.segment.spec, Bursts))
    lengths = tuple(row for row in rows if isinstance(row.segment.spec, BurstLengths))
    train = measure_train(wet, bypass)
    lengths = tuple(row for row in lengths if row.step == lengths[0].step)
    entries: dict[str, Entry] = {}
    health: list[Health] = []
    if bursts and _at_once(_reference(bursts)) and (static is None or static.bends_waves):
        others = ("release.memory", "release.open_loop_ratio", *TRAIN_NAMES)
        return Chapter(unmeasured((*ATTACK_NAMES, *RELEASE_NAMES, *others), AT_ONCE, LOOK_AT_COLOUR))
    if bursts:
        reference = _reference(bursts)
        note = "" if bypass is not None else ", no bypass: stimulus levels, path not divided out"
        entries |= {
            k: Entry(v, reference.conditions + note) for k, v in reference_readings(reference).items()
        }
        health += reference_health(reference, entries, wet.channel, wet.stimulus.recipe.name)
    elif held(wet, Bursts):
        entries |= unmeasured((*ATTACK_NAMES, *RELEASE_NAMES), *INAUDIBLE)
    else:
        entries |= absent(wet, Bursts, (*ATTACK_NAMES, *RELEASE_NAMES), recipe=RECIPE)
    entries["release.open_loop_ratio"] = open_loop_entry(bursts, static)
    entries["release.memory"] = _memory(lengths, wet)
    entries |= train_entries(train, wet, static, bursts)
    health += gap_health(rows, wet.channel)
    memory = entries["release.memory"].reading
    if isinstance(memory, Quantity) and remembers(memory, lengths):
        health.append(history(memory, lengths, wet.channel))
    curves = {"timing": timing_table(rows), "gain_trace": gain_trace_table(rows)} if rows else {}
    if bursts:
        curves["attack_detail"] = attack_detail_table(bursts)
        curves["timing_definitions"] = definitions_table(_reference(bursts))
    curves |= train_tables(train)

    def words(published: Published) -> list[str]:
        told = timing_words(published, bursts, lengths, static) if rows else []
        return [sentence for sentence in (*told, train_sentence(published, train)) if sentence]

    return Chapter(entries, curves, tuple(health), words)


def reference_readings(row: BurstRow) -> dict[str, Reading]:
    """Return every attack and release quantity that one burst condition gives, but for the memory."""
    attack, release, kind = row.attack, row.release, row.release_kind
    return {
        "attack.delay": _delay(attack.delay, attack.t50, row.attack_trace),
        "attack.t50": attack.t50,
        "attack.t63": attack.t63,
        "attack.t90": attack.t90,
        "attack.within_2db": attack.within_2db,
        "attack.within_3db": attack.within_3db,
        "attack.initial_slope": attack.initial_slope,
        "attack.overshoot": attack.overshoot,
        "attack.lookahead": _lookahead(row),
        "release.hold": _hold(release, kind, row.release_trace),
        "release.t50": release.t50,
        "release.t63": release.t63,
        "release.t90": release.t90,
        "release.within_2db": release.within_2db,
        "release.within_4db": release.within_4db,
        **_kind_readings(kind, release),
    }


def _reference(rows: Sequence[BurstRow]) -> BurstRow:
    return next((row for row in rows if is_reference(row)), rows[0])


def _at_once(row: BurstRow) -> bool:
    """Whether both edges are done within `AT_ONCE_PERIODS` of the carrier, as no detector of level can be."""
    ends_s = (row.attack.t63.most, row.release.t63.most)
    return all(end_s is not None and end_s * row.carrier_hz < AT_ONCE_PERIODS for end_s in ends_s)


def _kind_readings(kind: ReleaseKind | None, times: EdgeTimes) -> dict[str, Reading]:
    if kind is not None:
        return {
            "release.rate": kind.rate,
            "release.stages": kind.stages,
            "release.tau_1": kind.tau_1,
            "release.tau_2": kind.tau_2,
            "release.tau_1_share": kind.share_1,
        }
    why = times.t63
    if isinstance(why, Quantity):
        reason = (
            f"{100 * times.left:.0f} % of the recovery was still to come: one stage cannot be told from two"
        )
        why = Unmeasured("s", reason, "use a recipe with longer gaps, such as timing", cause="short-gaps")
    names = [f"release.{name}" for name in ("rate", "stages", "tau_1", "tau_2", "tau_1_share")]
    return {name: why.as_of(term(name).unit) for name in names}


def _turned(trace: GainTrace) -> bool:
    """Whether filters turn the carrier's phase while the gain moves: they ring over the edge."""
    return float(trace.turn_db.max()) > TURNED_DB


def _delay(delay: Reading, half: Reading, trace: GainTrace) -> Reading:
    if not _turned(trace):
        return delay
    if isinstance(delay, Unmeasured):
        return Unmeasured("s", TURNS, "look at the gain trace", at_least=delay.at_least)
    by = half.high if isinstance(half, Quantity) else half.at_most  # what rings may pass a start twice
    return Unmeasured("s", TURNS, "look at the gain trace", at_most=by)


def _lookahead(row: BurstRow) -> Reading:
    start, trace = row.attack.start, row.attack_trace
    if isinstance(start, Unmeasured):
        return start.as_of("s")
    turned = _turned(trace)
    if moves_ahead(row) and not turned:
        return Quantity(-start.value, -start.high, -start.low, "s")
    bound = max(AHEAD * trace.resolution_s, -start.low)
    reason = "the gain does not move before the edge, as far as this capture resolves"
    if start.high < -AHEAD * trace.resolution_s:
        reason = "what moves before the edge has come back at the edge: filters ring there"
    if turned:
        reason = TURNS
    return Unmeasured("s", reason, "raise the sampling rate to tighten the bound", at_most=bound)


def _hold(times: EdgeTimes, kind: ReleaseKind | None, trace: GainTrace) -> Reading:
    fitted = kind.hold if kind is not None else times.start
    hold = fitted if isinstance(fitted, Quantity) else times.start
    if isinstance(hold, Unmeasured):
        return Unmeasured("s", hold.reason, hold.next, hold.at_most, hold.at_least)
    scale = kind.tau_1 if kind is not None and isinstance(kind.tau_1, Quantity) else times.t63
    # a dead time below a hundredth of the time constant is the law's own misfit, not a hold
    bound = max(trace.resolution_s, 0.01 * (value_or_least(scale) or 0.0))
    if hold.low > bound:
        return hold
    reason = "no dead time stands out: the release starts at the edge, or smoothly"
    return Unmeasured(
        "s", reason, "raise the sampling rate to tighten the bound", at_most=max(bound, hold.high)
    )


def _memory(rows: Sequence[BurstRow], wet: Take) -> Entry:
    if len(rows) < 2 and held(wet, BurstLengths):
        return unmeasured(["release.memory"], *INAUDIBLE)["release.memory"]
    if len(rows) < 2:
        return absent(wet, BurstLengths, ["release.memory"], recipe=MEMORY_RECIPE)["release.memory"]
    shortest, longest = min(rows, key=lambda r: r.hold_s), max(rows, key=lambda r: r.hold_s)
    short, long = shortest.release.t63, longest.release.t63
    conditions = (
        f"bursts of {longest.hold_s:g} s and {shortest.hold_s:g} s, {number_text(longest.from_dbfs, 1)} to "
        f"{number_text(longest.to_dbfs, 1)} dBFS, carrier {longest.carrier_hz:g} Hz"
    )
    if isinstance(short, Quantity) and isinstance(long, Quantity):
        ratio = long.value / short.value
        relative = ((long.std / long.value) ** 2 + (short.std / short.value) ** 2) ** 0.5
        return Entry(Quantity.from_std(ratio, ratio * relative, "1"), conditions)
    missing = short if isinstance(short, Unmeasured) else long
    assert isinstance(missing, Unmeasured)
    bound = None
    if isinstance(short, Quantity) and isinstance(long, Unmeasured) and long.at_least:
        bound = long.at_least / short.high
    return Entry(missing.as_of("1", at_least=bound), conditions)
