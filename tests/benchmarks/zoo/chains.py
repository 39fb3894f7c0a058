"""Whole strips: effect processors that are not ours, one behind the other or beside each other."""

from __future__ import annotations

from tests.benchmarks.zoo.foreign import filtered, foreign_stage

CHAINS = {  # name: filters, latency in s, when it is calm in s, how long before the sound its gain may move in s
    "strip-valve": (
        "acompressor=threshold=0.1:ratio=4:attack=15:release=250:knee=4:detection=peak:makeup=1.6,"
        "ladspa=file=valve_1209:plugin=valve:controls=c0=0.3|c1=0.2,treble=g=3:f=8000",
        0, 4, None,
    ),
    "strip-warm": (
        "ladspa=file=tap_tubewarmth:plugin=tap_tubewarmth:controls=c0=4|c1=3,"
        "ladspa=file=sc4m_1916:plugin=sc4m:controls=c0=0|c1=30|c2=300|c3=-22|c4=3|c5=5|c6=4,lowshelf=g=-2:f=120,volume=-6dB",
        0, 4, None,
    ),
    "strip-soft": (
        "highpass=f=60,compand=attacks=0.003:decays=0.15:points=-90/-90|-24/-24|0/-16:soft-knee=6:gain=2,"
        "asoftclip=type=tanh:threshold=0.9",
        0, 3, None,
    ),
    "strip-air": (
        "aexciter=amount=1:drive=4:freq=5000,acompressor=threshold=0.06:ratio=2:attack=30:release=900:knee=6,"
        "alimiter=limit=0.5:attack=2:release=80:level=0:latency=1",
        0, 8, 0.004,
    ),
    "strip-gated": (
        "agate=threshold=0.02:ratio=2:range=0.2:attack=5:release=200,"
        "acompressor=threshold=0.2:ratio=6:attack=2:release=60",
        0, 4, None,
    ),
    "strip-levelled": (
        "acompressor=threshold=0.2:ratio=3:attack=20:release=400:makeup=1.5,"
        "alimiter=limit=0.3:attack=5:release=50:level=0:latency=1",
        0, 5, 0.006,
    ),
    "dry-and-wet": (
        "asplit[a][b];[a]acompressor=threshold=0.05:ratio=8:attack=5:release=100[c];"
        "[b][c]amix=inputs=2:normalize=0",
        0, 3, None,
    ),
    "lift-quiet": ("acompressor=mode=upward:threshold=0.1:ratio=2:attack=10:release=200", 0, 4, None),
    "presence-held": (
        "adynamicequalizer=threshold=0.02:dfrequency=3000:dqfactor=0.7:tfrequency=3000:tqfactor=0.7:attack=10"
        ":release=150:ratio=4:range=20:mode=cut:tftype=bell",
        0, 4, None,
    ),
    "emphasis-around": (
        "aemphasis=mode=production:type=50fm,acompressor=threshold=0.1:ratio=4:attack=8:release=120,"
        "aemphasis=mode=reproduction:type=50fm",
        0, 3, None,
    ),
    "sibilance-held": ("deesser=i=0.6:m=0.5:f=0.5", 0, 1, None),
}  # fmt: skip

TURNING = ("strip-air", "presence-held", "sibilance-held")  # filters move, or follow what is bent

REMEMBERED_S = {"strip-warm": 4.0}  # what senses the level has not come to rest between bursts

STRIPS = tuple(
    foreign_stage(
        name,
        filtered(text),
        late_s,
        calm_s,
        ahead_s,
        turns_phase=name in TURNING,
        remembers_s=REMEMBERED_S.get(name, 0.0),
    )
    for name, (text, late_s, calm_s, ahead_s) in CHAINS.items()
)
