import platform
import resource

import numpy as np
import pytest
import threadpoolctl

from charprobe.values.one_thread import on_one_thread


def threads():
    return {pool["num_threads"] for pool in threadpoolctl.threadpool_info() if pool["user_api"] == "blas"}


def test_linear_algebra_stays_on_one_thread_and_is_free_again_afterwards():
    with threadpoolctl.threadpool_limits(2, user_api="blas"):
        assert on_one_thread(threads)() == {1}
        assert threads() == {2}


@pytest.mark.skipif(platform.libc_ver()[0] != "glibc", reason="other C libraries decide for themselves")
def test_memory_that_was_freed_serves_the_next_array():
    def pages_for_an_array() -> int:
        before = resource.getrusage(resource.RUSAGE_SELF).ru_minflt
        np.ones(1 << 18)  # 2 MB: 512 pages
        return resource.getrusage(resource.RUSAGE_SELF).ru_minflt - before

    assert on_one_thread(lambda: [pages_for_an_array() for _ in range(3)])()[-1] < 100
