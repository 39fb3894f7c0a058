"""Compiled loops give what the plain ones give."""

import numpy as np

from charprobe.values.compiled import compiled, compiled_sums


def decayed(samples, kept):
    out, state = np.empty_like(samples), 0.0
    for i in range(samples.size):
        state = kept * state + (1 - kept) * samples[i]
        out[i] = state
    return out


def test_a_loop_is_the_same_compiled(rng):
    samples = rng.standard_normal(200)
    np.testing.assert_array_equal(compiled(decayed)(samples, 0.9), decayed(samples, 0.9))
    np.testing.assert_allclose(compiled_sums(decayed)(samples, 0.9), decayed(samples, 0.9), rtol=1e-12)
