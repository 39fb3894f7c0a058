"""Compiled loops give what the plain ones give."""

import importlib

import numba
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


def test_a_loop_is_compiled_again_when_one_that_it_calls_has_changed(tmp_path, monkeypatch):
    monkeypatch.setattr(numba.config, "CACHE_DIR", str(tmp_path / "cache"))
    monkeypatch.syspath_prepend(tmp_path)
    start = "from charprobe.values.compiled import compiled"
    (tmp_path / "loop_inner.py").write_text(f"{start}\n@compiled\ndef inner(x):\n    return x + 1\n")
    (tmp_path / "loop_outer.py").write_text(
        f"{start}\nfrom loop_inner import inner\n@compiled\ndef outer(x):\n    return inner(x)\n"
    )
    inner, outer = importlib.import_module("loop_inner"), importlib.import_module("loop_outer")
    assert outer.outer(1.0) == 2.0
    (tmp_path / "loop_inner.py").write_text(f"{start}\n@compiled\ndef inner(x):\n    return x + 100\n")
    importlib.reload(inner)
    assert importlib.reload(outer).outer(1.0) == 101.0
