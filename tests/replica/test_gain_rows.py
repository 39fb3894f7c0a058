"""What fits run is what takes are played with: both give the same gain, sample by sample."""

import numpy as np
import pytest

from charprobe.replica.cell import NO_TABLE, RunningCell
from charprobe.replica.flat import flatten
from charprobe.replica.gain_rows import gain_rows_db
from charprobe.replica.parts import Bend, Cell, Detector, Smoothing

RATE = 48_000
RMS = Detector("mean", 2.0, 0.003, 0.003)
BEND = (Bend(-24.0, 0.75, 6.0), Bend(-9.0, 0.2))
SLOW = {"attack_s": 0.005, "release_s": 0.08, "slow_s": 0.4, "slow_share": 0.4}
CELLS = {
    "reduction": Cell(RMS, BEND, Smoothing(attack_s=0.005, release_s=0.08), lookahead_s=0.002, makeup_db=1.0),
    "hold": Cell(Detector(), BEND, Smoothing(attack_s=0.001, release_s=0.05, hold_s=0.004)),
    "envelope": Cell(Detector("envelope", low_cut_hz=90.0), BEND, Smoothing("level in dB", "decoupled", "rest", 0.01, 0.1)),
    "level": Cell(Detector("mean"), BEND, Smoothing("level", attack_s=0.004, release_s=0.1)),
    "falling": Cell(Detector("peak", fall_s=0.02, shelf_hz=2000.0, shelf_db=4.0), BEND, Smoothing(attack_s=0.003, release_s=0.1)),
    "side by side": Cell(RMS, BEND, Smoothing(release="side by side", **SLOW)),
    "shared": Cell(RMS, BEND, Smoothing(release="shared", **SLOW)),
    "charged": Cell(RMS, BEND, Smoothing(release="charged", charge_s=0.2, **SLOW)),
    "feedback": Cell(Detector("mean", 2.0, 0.003, 0.003, low_cut_hz=60.0), (Bend(-24.0, 3.0, 4.0),), Smoothing(attack_s=0.02, release_s=0.2), "feedback"),
}  # fmt: skip


@pytest.mark.parametrize("name", CELLS)
def test_rows_give_what_each_cell_gives(name, rng):
    cell = CELLS[name]
    late = round(cell.lookahead_s * RATE)
    swell = np.repeat(10 ** (rng.uniform(-30, 0, 5) / 20), 1000)
    sound = swell * np.sin(2 * np.pi * 300 * np.arange(swell.size) / RATE) + 1e-3 * rng.standard_normal(
        swell.size
    )
    other = Cell(cell.detector, (Bend(-30.0, 0.5),), cell.smoothing, cell.loop, makeup_db=cell.makeup_db)
    gain = gain_rows_db(cell, np.stack([flatten(cell), flatten(other)]), sound, rate_hz=RATE)
    for one, found in ((cell, gain[0]), (other, gain[1])):
        running = RunningCell(one, rate_hz=RATE, channels=1, table=NO_TABLE)
        direct = running.play(np.concatenate([sound, np.zeros(late)])[:, None]).gain_db[late:, 0]
        np.testing.assert_allclose(found, direct, rtol=0, atol=1e-6)  # a loop is solved to 1e-7 dB and better
    assert np.ptp(gain[0]) > 1
