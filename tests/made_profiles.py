"""Profiles of invented settings, written down from closed forms: what estimators would find on them."""

import dataclasses
import hashlib

import numpy as np

from charprobe.profile.entry import Entry, Health, Table
from charprobe.profile.facts import AlignmentFacts, CaptureFacts, MadeWith, StimulusFacts
from charprobe.profile.profile import Profile
from charprobe.values.quantity import Quantity, Unmeasured

UGLY_NAME = '$Vel_lum% <b>\nn° 3 – «é» & "drive"'
BURST = "burst −30 to −8 dBFS held 0.4 s, 3989 Hz, {reduction:.1f} dB of reduction"
STEPS = "997 Hz steps of 3 dB held 0.5 s, settled, rising and falling"


@dataclasses.dataclass(frozen=True)
class Setting:
    """An invented setting; `slow_share` of the release runs on `slow_s`."""

    name: str
    threshold_dbfs: float = -22.0
    ratio: float = 4.0
    knee_db: float = 6.0
    makeup_db: float = 3.0
    attack_s: float = 0.005
    release_s: float = 0.12
    slow_s: float = 1.5
    slow_share: float = 0.0
    h2_dbc: float = -60.0
    h3_dbc: float = -72.0
    std: float = 0.004  # one sigma of every quantity, in dB or relative


def gain_db(setting, level_dbfs):
    over = np.asarray(level_dbfs) - setting.threshold_dbfs
    knee = max(setting.knee_db, 1e-9)
    inside = np.clip(over + knee / 2, 0, knee)
    slope = 1 - 1 / setting.ratio
    return setting.makeup_db - slope * (inside**2 / (2 * knee) + np.maximum(0, over - knee / 2))


def recovery(setting, time_s):
    """Share of the reduction that is left at `time_s` after the falling edge."""
    fast = (1 - setting.slow_share) * np.exp(-time_s / setting.release_s)
    return fast + setting.slow_share * np.exp(-time_s / setting.slow_s)


def time_at(left, setting):
    """Time at which `left` of the reduction is still there, on a fine grid."""
    time_s = np.geomspace(1e-5, 60, 200_000)
    return float(np.interp(-left, -recovery(setting, time_s), time_s))


def made_profile(setting, *, channel=1):
    reduction = float(setting.makeup_db - gain_db(setting, -8.0))
    digest = hashlib.sha256(f"{setting.name}{channel}".encode()).hexdigest()
    return Profile(
        setting=setting.name,
        channel=channel,
        capture=CaptureFacts(f"take {channel} é.wav", digest, 48_000, 24, 4, 31.25),
        stimulus=StimulusFacts("quick", "b" * 64, 3, 48_000),
        alignment=AlignmentFacts(14_400.37, 18.4, 1),
        quantities=quantities(setting, reduction),
        curves=curves(setting, reduction),
        health=(
            Health("clock-drift", "note", "Recorder runs +18.4 ppm; frequencies fitted, nothing resampled."),
            Health(
                "unsettled",
                "warn",
                "Steps at −14 and −11 dBFS (falling) had not settled after 0.5 s, so they would bend the curve; "
                "they are marked and left out. Use longer steps. The other steps are kept.",
                channel,
                9.5,
                11.0,
            ),
        ),
        findings=(f"Compresses {setting.ratio:.1f}:1 above {setting.threshold_dbfs:.1f} dBFS.",),
        made_with=MadeWith("0.1.0", {"bypass": "bypass.wav"}),
    )


def quantities(setting, reduction):
    burst = BURST.format(reduction=reduction)

    def level(value, unit="dB", conditions=STEPS):
        return Entry(Quantity.from_std(value, setting.std, unit), conditions)

    def time(value):
        return Entry(Quantity.from_std(value, abs(value) * setting.std, "s"), burst)

    slope = 1 / setting.ratio
    thd = 10 * np.log10(10 ** (setting.h2_dbc / 10) + 10 ** (setting.h3_dbc / 10))
    return {
        "static.threshold": level(setting.threshold_dbfs, "dBFS"),
        "static.threshold_1db": level(setting.threshold_dbfs + 1.0, "dBFS"),
        "static.slope": Entry(Quantity.from_std(slope, 0.001, "dB/dB"), STEPS),
        "static.ratio": Entry(
            Quantity(setting.ratio, 1 / (slope + 0.00196), 1 / (slope - 0.00196), ":1"), STEPS
        ),
        "static.knee_width": level(setting.knee_db),
        "static.low_level_gain": level(setting.makeup_db + 0.2),
        "static.makeup_gain": level(setting.makeup_db),
        "static.max_reduction": level(reduction),
        "attack.t50": time(setting.attack_s * np.log(2)),
        "attack.t63": time(setting.attack_s),
        "attack.t90": time(setting.attack_s * np.log(10)),
        "attack.lookahead": Entry(
            Unmeasured(
                "s", "the gain moves only after the edge", "none needed: no look-ahead shown", at_most=1e-4
            ),
            "",
        ),
        "release.t50": time(time_at(0.5, setting)),
        "release.t63": time(time_at(np.exp(-1), setting)),
        "release.t90": time(time_at(0.1, setting)),
        "release.stages": Entry(Quantity(1.0 + (setting.slow_share > 0), 1.0, 2.0, "1"), burst),
        "colour.thd_at_reference": level(thd, "dBc", "997 Hz at −20 dBFS, no reduction"),
        "colour.h2_at_reference": level(setting.h2_dbc, "dBc", "997 Hz at −20 dBFS, no reduction"),
        "colour.h3_at_reference": level(setting.h3_dbc, "dBc", "997 Hz at −20 dBFS, no reduction"),
        "colour.h4_at_reference": Entry(
            Unmeasured("dBc", "below the detection limit", "longer tones or a quieter path", at_most=-112.0),
            "",
        ),
        "response.tilt": level(-0.4, "dB/decade", "sweep at −40 dBFS re bypass"),
        "noise.a_weighted": Entry(Quantity.from_std(-96.3, 0.2, "dBFS"), "beside a −60 dBFS tone"),
        "release.memory": Entry(
            Unmeasured("1", "the recipe has no burst_lengths segment", "measure with the recipe `full`"), ""
        ),
        "path.latency": Entry(Quantity.from_std(0.00025, 1e-7, "s"), "sync chirps re bypass"),
    }


def curves(setting, reduction):
    return {
        "static": static_curve(setting),
        "timing": timing(setting, reduction),
        "gain_trace": gain_trace(setting, reduction),
        "harmonics": harmonics(setting),
        "response": response(),
        "noise_spectrum": noise_spectrum(),
    }


def static_curve(setting):
    rising = np.arange(-60.0, -2.0, 3.0)
    level = np.concatenate([rising, rising[::-1]])
    gain = gain_db(setting, level)
    falling = np.arange(level.size) >= rising.size
    late = falling & (level > -16) & (level < -10)
    gain = gain - np.where(late, 0.6, 0.0)
    columns = {
        "input_dbfs": level,
        "output_dbfs": level + gain,
        "gain_db": gain,
        "std_db": np.full(level.size, 0.002),
        "direction": ["falling" if down else "rising" for down in falling],
        "settled": [not bad for bad in late],
        "used": [not bad for bad in late],
        "frequency_hz": np.full(level.size, 997.0),
    }
    units = ["dBFS", "dBFS", "dB", "dB", "", "", "", "Hz"]
    return Table({k: list(v) for k, v in columns.items()}, dict(zip(columns, units, strict=True)))


def timing(setting, reduction):
    left = {"t50": 0.5, "t63": float(np.exp(-1)), "t90": 0.1}
    row = {
        "from_dbfs": -30.0,
        "to_dbfs": -8.0,
        "carrier_hz": 3989.0,
        "hold_s": 0.4,
        "reduction_db": reduction,
    }
    row |= {f"attack_{k}_s": -setting.attack_s * float(np.log(v)) for k, v in left.items()}
    row |= {
        "attack_within_2db_s": setting.attack_s * float(np.log(reduction / 2)),
        "attack_within_3db_s": None,
    }
    row |= {"attack_overshoot_db": None}
    row |= {f"release_{k}_s": time_at(v, setting) for k, v in left.items()}
    row |= {"release_within_2db_s": time_at(2 / reduction, setting), "release_within_4db_s": None}
    row |= {"resolution_s": 1 / 48_000}
    units = {k: "s" if k.endswith("_s") else "dBFS" if k.endswith("dbfs") else "dB" for k in row}
    return Table({k: [v] for k, v in row.items()}, units | {"carrier_hz": "Hz"})


def gain_trace(setting, reduction):
    before = np.linspace(-0.01, 0, 20, endpoint=False)
    after = np.concatenate([[0], np.geomspace(2e-5, 0.4, 120)])
    attack = np.concatenate([before * 0, -reduction * (1 - np.exp(-after / setting.attack_s))])
    back = np.concatenate([[0], np.geomspace(1e-4, 4.0, 160)])
    release = np.concatenate([before * 0 - reduction, -reduction * recovery(setting, back)])
    time_s = np.concatenate([before, after, before, back])
    gain = np.concatenate([attack, release]) + setting.makeup_db
    edge = ["attack"] * attack.size + ["release"] * release.size
    return Table(
        {"step": [0] * len(edge), "edge": edge, "time_s": list(time_s), "gain_db": list(gain)}
        | {"std_db": [0.01] * len(edge)},
        {"step": "", "edge": "", "time_s": "s", "gain_db": "dB", "std_db": "dB"},
    )


def harmonics(setting):
    level, frequency = (
        grid.ravel()
        for grid in np.meshgrid(np.arange(-48.0, -2.0, 6.0), [100.0, 997.0, 5000.0], indexing="ij")
    )
    columns = {
        "input_dbfs": list(level),
        "frequency_hz": list(frequency),
        "reduction_db": list(setting.makeup_db - gain_db(setting, level)),
        "fundamental_dbfs": list(level + gain_db(setting, level)),
    }
    units = {"input_dbfs": "dBFS", "frequency_hz": "Hz", "reduction_db": "dB", "fundamental_dbfs": "dBFS"}
    limit = -116 - level / 2 + 0 * level
    power = np.zeros_like(level)
    for n in range(2, 11):
        start = {2: setting.h2_dbc, 3: setting.h3_dbc}.get(n, setting.h3_dbc - 14 * (n - 3))
        law = start + (n - 1) * (level + 20) * 0.9
        power = power + 10 ** (law / 10)
        columns[f"h{n}_dbc"] = [float(v) if v > lim else None for v, lim in zip(law, limit, strict=True)]
        columns[f"h{n}_deg"] = [0.0 if v > lim else None for v, lim in zip(law, limit, strict=True)]
        units |= {f"h{n}_dbc": "dBc", f"h{n}_deg": "deg"}
    columns |= {"thd_dbc": list(10 * np.log10(power)), "limit_dbc": list(limit)}
    return Table(columns, units | {"thd_dbc": "dBc", "limit_dbc": "dBc"})


def response():
    frequency = np.geomspace(20, 20_000, 160)
    shelf = 10 * np.log10((1 + (frequency / 9000) ** 2 * 0.8) / (1 + (frequency / 9000) ** 2))
    low = -10 * np.log10(1 + (18 / frequency) ** 2)
    columns = {"frequency_hz": frequency, "magnitude_db": shelf + low, "phase_deg": 0 * frequency}
    columns["drive_dbfs"] = np.full(frequency.size, -40.0)
    units = {"frequency_hz": "Hz", "magnitude_db": "dB", "phase_deg": "deg", "drive_dbfs": "dBFS"}
    return Table({k: list(v) for k, v in columns.items()}, units)


def noise_spectrum(*, shelf_db=0.0):
    """Noise of 1/f below 200 Hz; `shelf_db` lifts it from 5 kHz on."""
    hz = 1000 * 2.0 ** (np.arange(-16, 14) / 3)
    density = -140 + 10 * np.log10(1 + 200 / hz) + np.where(hz > 5000, shelf_db, 0.0)
    columns = {"frequency_hz": hz, "density_dbfs_per_hz": density, "density_std_db": 4.34 * hz**-0.5}
    units = {"frequency_hz": "Hz", "density_dbfs_per_hz": "dBFS/Hz", "density_std_db": "dB"}
    return Table({k: list(v) for k, v in columns.items()}, units)


B = Setting("B – slow", release_s=0.12)
D = Setting("D – slower", release_s=0.372)
LIMITER = Setting("Limiter", ratio=50.0, knee_db=1.0, threshold_dbfs=-12.0, makeup_db=0.0, attack_s=0.0003)
TWO_STAGE = Setting("Optic", slow_share=0.5, release_s=0.05, ratio=3.0)
UGLY = Setting(UGLY_NAME, h2_dbc=-44.0)
