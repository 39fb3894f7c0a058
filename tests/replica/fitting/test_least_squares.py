import numpy as np

from charprobe.replica.fitting import least_squares
from charprobe.replica.fitting.least_squares import Effort, Knob, solve

KNOBS = (Knob(("a",), -10, 10), Knob(("b",), 0.01, 10, logarithmic=True))
T = np.linspace(0, 3, 2000)
BLOCK = np.arange(T.size) // 10


def decay(rows):
    return np.stack([a + np.exp(-T / np.exp(log_b)) for a, log_b in rows])


def test_numbers_of_a_decay_are_found_on_their_own_scale():
    target = decay(np.array([[0.3, np.log(0.7)]]))[0]
    start = np.array([0.0, np.log(2.0)])
    found = solve(decay, target, np.ones(T.size), BLOCK, KNOBS, start, effort=Effort(20, 1e-12))
    np.testing.assert_allclose([found.values[0], np.exp(found.values[1])], [0.3, 0.7], atol=1e-5)
    assert found.score < 1e-5


def test_a_step_corrects_the_slopes_of_the_next(monkeypatch):
    asked = []

    def predict(rows):
        asked.append(len(rows))
        return np.exp(rows[:, :1] * np.cos(np.arange(50)) + rows[:, 1:] ** 3)

    def spent(again):
        monkeypatch.setattr(least_squares, "AGAIN", again)
        asked.clear()
        target, knobs = predict(np.array([[1.0, 0.8]]))[0], [Knob(("a",), -3, 3), Knob(("b",), 0.1, 3)]
        found = solve(
            predict, target, np.ones(50), np.arange(50), knobs, np.array([0.2, 1.6]), effort=Effort(50, 1e-12)
        )
        np.testing.assert_allclose(found.values, [1.0, 0.8], atol=1e-3)
        return sum(asked)

    assert spent(6) < 0.8 * spent(0)


def test_of_several_valleys_the_deepest_is_started_in():
    def swings(rows):
        return np.stack([np.sin(pace * T) for pace in rows[:, 0]])

    target, start, ends = swings(np.array([[9.0]]))[0], np.array([2.0]), Effort(20, 1e-9)
    for starts, right in (((), False), ((5.0, 8.5, 12.0), True)):
        knob = Knob(("a",), 0.1, 20.0, starts=starts)
        found = solve(swings, target, np.ones(T.size), BLOCK, (knob,), start, effort=ends)
        assert bool(abs(found.values[0] - 9.0) < 1e-6) is right


def test_the_covariance_is_the_scatter_of_the_numbers(rng):
    target, start = decay(np.array([[0.3, np.log(0.7)]]))[0], np.array([0.2, np.log(0.8)])
    weight = np.full(T.size, 20.0)
    fits = [
        solve(
            decay, target + rng.normal(0, 0.05, T.size), weight, BLOCK, KNOBS, start, effort=Effort(6, 1e-6)
        )
        for _ in range(120)
    ]
    scatter = np.std([fit.values for fit in fits], axis=0)
    stated = np.sqrt(np.mean([np.diag(fit.covariance) for fit in fits], axis=0))
    np.testing.assert_allclose(stated / scatter, 1, atol=0.22)  # 3 sigma of 120 draws: 3 / sqrt(240)


def test_a_number_at_its_bound_stays_there():
    knobs = (Knob(("a",), 0.5, 10), KNOBS[1])
    target = decay(np.array([[0.3, np.log(0.7)]]))[0]
    start = np.array([1.0, 0.0])
    found = solve(decay, target, np.ones(T.size), BLOCK, knobs, start, effort=Effort(20, 1e-9))
    assert found.values[0] == 0.5


def test_a_number_that_nothing_tells_at_its_bound_holds_up_no_other():
    knobs = (KNOBS[0], KNOBS[1], Knob(("c",), 0.0, 10.0, step=0.01, far=2.0))

    def bent(rows):
        return decay(rows[:, :2]) + 1e-3 * rows[:, 2:] ** 2

    target = bent(np.array([[0.3, np.log(0.7), 0.0]]))[0]
    weight = np.full(T.size, 1e3)
    found = solve(bent, target, weight, BLOCK, knobs, np.array([0.1, 0.3, 0.0]), effort=Effort(20, 1e-12))
    np.testing.assert_allclose(found.values[:2], [0.3, np.log(0.7)], atol=1e-3)
    assert np.sqrt(found.covariance[2, 2]) < 4  # its derivative at 0 alone would say: anything at all


def test_a_number_that_one_block_alone_tells_scatters_as_stated(rng):
    step = (BLOCK == 77).astype(float)
    knobs = (Knob(("a",), -10, 10), Knob(("b",), -10, 10))

    def predict(rows):
        return np.stack([a + b * step for a, b in rows])

    weight, start = np.full(T.size, 20.0), np.zeros(2)
    fits = [
        solve(predict, rng.normal(0, 0.05, T.size), weight, BLOCK, knobs, start, effort=Effort(3, 1e-9))
        for _ in range(120)
    ]
    scatter = np.std([fit.values for fit in fits], axis=0)
    stated = np.sqrt(np.mean([np.diag(fit.covariance) for fit in fits], axis=0))
    np.testing.assert_allclose(stated / scatter, 1, atol=0.22)  # 3 sigma of 120 draws: 3 / sqrt(240)


def test_a_number_that_tells_in_one_direction_alone_is_hardly_told(rng):
    knobs = (KNOBS[0], Knob(("b",), -10, 10, step=0.01, far=2.0))

    def predict(rows):
        return np.stack([a + np.maximum(0.0, 0.02 - b) * (T > 2.9) for a, b in rows])

    target = predict(np.array([[0.3, 1.0]]))[0] + rng.normal(0, 0.05, T.size)
    found = solve(predict, target, np.full(T.size, 20.0), BLOCK, knobs, np.zeros(2), effort=Effort(9, 1e-9))
    assert abs(found.values[1] - 1.0) < 2 * np.sqrt(found.covariance[1, 1])


def test_a_number_whose_output_runs_beyond_all_numbers_not_far_away_is_not_told_by_that(rng):
    knobs = (*KNOBS, Knob(("c",), 0.0, 10.0, step=0.01, far=5.0))

    def runaway(rows):
        beyond = np.where(rows[:, 2:] > 0.3, np.inf, 1e-6 * rows[:, 2:])
        return decay(rows[:, :2]) + beyond

    target = decay(np.array([[0.3, np.log(0.7)]]))[0] + rng.normal(0, 0.05, T.size)
    start = np.array([0.2, np.log(0.8), 0.1])
    found = solve(runaway, target, np.full(T.size, 20.0), BLOCK, knobs, start, effort=Effort(6, 1e-6))
    assert np.isfinite(found.covariance).all() and np.sqrt(found.covariance[2, 2]) >= 1
