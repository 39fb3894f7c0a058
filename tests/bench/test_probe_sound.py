import numpy as np
import pytest

from charprobe.bench.probe_sound import LEVELS_DBFS, TONE_S, ProbePlan, probe_sound


@pytest.mark.parametrize("rate_hz", [44_100, 192_000])
@pytest.mark.parametrize("outputs", [1, 2])
def test_a_step_is_as_loud_as_it_says_and_sweeps_stay_soft(rate_hz, outputs):
    plan = ProbePlan(rate_hz, outputs)
    for level in (LEVELS_DBFS[0], LEVELS_DBFS[-1]):
        sound = probe_sound(level, plan)
        assert 20 * np.log10(np.abs(sound).max()) == pytest.approx(level, abs=0.01)
        soft = np.vstack([sound[: plan.tone], sound[plan.after[0] :]])
        assert 20 * np.log10(np.abs(soft).max()) <= -40.0


def test_outputs_sound_one_after_the_other_and_together_in_the_tone():
    plan = ProbePlan(48_000, 3)
    sound = probe_sound(-20.0, plan)
    for output, start in enumerate(plan.before):
        assert np.flatnonzero(np.abs(sound[start : start + plan.rest // 2]).max(axis=0)).tolist() == [output]
    assert np.abs(sound[plan.tone : plan.tone + 4800]).max(axis=0).min() > 0.09
    ends = plan.tone + round(TONE_S * 48_000)
    for silence in (slice(plan.rest), slice(ends, ends + plan.rest)):
        assert not sound[silence].any()
    assert sound[ends + plan.rest] == pytest.approx([0.1] * 3)  # the burst begins at full height
