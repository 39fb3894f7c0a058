import numpy as np

from charprobe.estimators.static.step_settling import SETTLED_DB, judge_settling

EDGES_S = np.linspace(0.12, 0.39, 22)
STEP_S, LATE_S = 0.4, 0.2
MIDDLE_S = (EDGES_S[1:] + EDGES_S[:-1]) / 2


def traces(size_db, tau_s, *, rng, sigma_db=1e-4):
    """Exponentials that rest at 0; one step per entry of `size_db`, which is the distance at its start."""
    course = -np.array(size_db)[:, None] * np.exp(-MIDDLE_S / np.reshape(tau_s, (-1, 1)))
    return course + rng.normal(0, sigma_db, course.shape), np.full(len(size_db), sigma_db)


def judge(gain_db, std_db):
    return judge_settling(gain_db, edges_s=EDGES_S, std_db=std_db, late_from_s=LATE_S, step_s=STEP_S)


def late_mean(gain_db):
    return gain_db[:, EDGES_S[:-1] >= LATE_S].mean(axis=1)


def test_gain_at_rest_counts_as_settled(rng):
    verdict = judge(*traces(np.zeros(400), 1.0, rng=rng))
    # 3 sigma in one step, or over three neighbours: about 0.5 % of steps, so more than 3 % would be a fault
    assert verdict.moving.mean() < 0.03
    assert verdict.settled.mean() > 0.99


def test_steps_of_one_time_constant_are_extrapolated_to_their_rest(rng):
    gain_db, std_db = traces(np.full(12, 2.0), 0.2, rng=rng)
    verdict = judge(gain_db, std_db)
    assert not verdict.settled.any()
    error = late_mean(gain_db) + verdict.remaining_db
    assert np.abs(error).max() < 0.1 * np.abs(late_mean(gain_db)).max()
    assert np.all(np.abs(error) < 3 * verdict.remaining_std_db)


def test_steps_of_unlike_time_constants_do_not_pull_each_other(rng):
    tau_s = np.array([0.1] * 10 + [0.5] * 4)
    gain_db, std_db = traces(np.full(14, 1.0), tau_s, rng=rng)
    verdict = judge(gain_db, std_db)
    error = late_mean(gain_db) + verdict.remaining_db
    assert np.all(np.abs(error) < 3 * verdict.remaining_std_db)
    assert np.abs(error[10:]).max() < 0.15  # of 0.58 dB that are left to go


def test_a_motion_too_slow_to_extrapolate_gets_a_wide_interval_not_a_settled_flag(rng):
    gain_db, std_db = traces(np.full(6, 3.0), 4.0, rng=rng, sigma_db=1e-3)
    verdict = judge(gain_db, std_db)
    assert not verdict.settled.any()
    error = late_mean(gain_db) + verdict.remaining_db
    assert np.all(np.abs(error) < 3 * verdict.remaining_std_db)


def test_a_step_that_creeps_is_settled_alone_but_not_beside_one_still_on_its_way(rng):
    creeping, still = traces([0.0, 0.0, 0.004, 0.0], 0.5, rng=rng, sigma_db=2e-5)
    alone = judge(creeping, still)
    beside = judge(*traces([0.0, 0.0, 0.004, 0.04, 0.3], 0.5, rng=rng, sigma_db=2e-5))
    assert alone.settled[2] and not beside.settled[2]


def test_a_recovery_hidden_by_noise_is_carried_on_from_the_step_before(rng):
    seen, _ = traces([0.6], 2.0, rng=rng)
    hidden = seen * np.exp(-STEP_S / 2.0) + rng.normal(0, 0.2, seen.shape)
    verdict = judge(np.vstack([seen, hidden]), np.array([1e-4, 0.2]))
    assert not verdict.settled.any()


def test_what_is_nearly_there_counts_as_settled(rng):
    verdict = judge(*traces(np.full(8, 0.02), 0.1, rng=rng, sigma_db=1e-5))
    assert verdict.moving.all()
    assert np.abs(verdict.remaining_db).max() < SETTLED_DB
    assert verdict.settled.all()


def test_a_slow_stage_under_a_fast_one_is_not_called_settled(rng):
    quick = traces(np.full(8, 0.5), 0.05, rng=rng, sigma_db=2e-5)[0]
    slow, std_db = traces(np.full(8, 0.03), 2.0, rng=rng, sigma_db=2e-5)
    verdict = judge(quick + slow, std_db)
    assert not verdict.settled.any()
    # 0.027 dB are still to go, which one exponential would put at a tenth of that
    assert np.all(np.abs(late_mean(quick + slow) + verdict.remaining_db) < 3 * verdict.remaining_std_db)


def test_a_recovery_that_began_before_the_first_step_is_carried_back_to_it(rng):
    seen, _ = traces([0.1], 1.0, rng=rng)
    hidden = seen * np.exp(STEP_S / 1.0) + rng.normal(0, 0.03, seen.shape)
    verdict = judge(np.vstack([hidden, seen]), np.array([0.03, 1e-4]))
    assert not verdict.settled.any()


def test_what_is_left_of_a_motion_counts_as_uncertainty_where_it_no_longer_shows(rng):
    seen, _ = traces([0.02], 0.2, rng=rng)
    verdict = judge(np.vstack([seen, np.zeros_like(seen)]), np.array([1e-4, 1e-4]))
    left_db = 0.02 * np.exp(-(STEP_S + LATE_S) / 0.2)
    assert verdict.remaining_std_db[1] > left_db / 2


def test_a_gain_that_creeps_to_the_crests_of_a_wave_is_not_called_nearer_than_it_is(rng):
    edges = np.linspace(0.04, 0.2, 17)
    creep, noise_db = 0.02, 1e-4
    left = (
        8 * (creep / (creep + (edges[:-1] + edges[1:]) / 2)) ** 2
    )  # a detector that falls between no two crests
    gain = np.tile(left, (12, 1)) + rng.normal(0, noise_db, (12, 16))
    found = judge_settling(gain, edges_s=edges, std_db=np.full(12, noise_db), late_from_s=0.12, step_s=0.2)
    to_go = -left[edges[:-1] >= 0.12 - 1e-9].mean()
    assert np.all(np.abs(found.remaining_db - to_go) < 2 * found.remaining_std_db)


def test_a_ramp_that_ends_well_before_the_step_has_arrived(rng):
    # comes back from an overshoot in a straight line: neither law has such a kink
    course = -0.08 * np.maximum(0.0, 1 - (MIDDLE_S - EDGES_S[0]) / 0.12)
    gain_db = np.tile(course, (10, 1)) + rng.normal(0, 2e-4, (10, course.size))
    verdict = judge(gain_db, np.full(10, 2e-3))  # the kink itself scatters windows by so much
    assert verdict.settled.all()
    error = late_mean(gain_db) + verdict.remaining_db
    assert np.all(np.abs(error) < 3 * verdict.remaining_std_db)


def test_a_gain_that_wanders_about_its_rest_has_arrived_and_one_that_heads_on_has_not(rng):
    turns = 2 * np.pi * MIDDLE_S / 0.09
    wandering = 0.002 * np.array([np.sin(turns + phase) for phase in rng.uniform(0, 2 * np.pi, 12)])
    heading = wandering + 0.02 * (MIDDLE_S - MIDDLE_S.mean()) / np.ptp(MIDDLE_S)
    noise = rng.normal(0, 2e-4, wandering.shape)
    assert judge(wandering + noise, np.full(12, 2e-4)).settled.all()
    assert not judge(heading + noise, np.full(12, 2e-4)).settled.any()


def test_a_turning_point_at_the_end_of_a_step_is_no_rest(rng):
    turned = 0.3 * np.cos(
        2 * np.pi * (MIDDLE_S - MIDDLE_S[-3]) / 0.4
    )  # flat at its crest, 0.3 dB from its mean
    gain_db = np.tile(turned, (10, 1)) + rng.normal(0, 2e-4, (10, turned.size))
    assert not judge(gain_db, np.full(10, 2e-3)).settled.any()


def test_a_faint_bend_of_a_short_trace_grants_no_slower_stage_more_speed_than_the_trace_has():
    # noise bent it: an exponential and a line that oppose each other fit it, both far steeper than the whole
    gain_db = np.zeros((6, 7))
    gain_db[1] = np.array([1.6, 0.8, 0.3, 0.2, 1.3, -1.0, -3.2]) * 1e-4
    edges_s = 0.06 + 0.018 * np.arange(8)
    verdict = judge_settling(gain_db, edges_s=edges_s, std_db=np.full(6, 8e-5), late_from_s=0.12, step_s=0.2)
    assert verdict.moving[1]
    assert verdict.remaining_std_db[1] < 0.05  # its last windows fall by 0.012 dB/s; three seconds of that
