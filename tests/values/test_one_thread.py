import threadpoolctl

from charprobe.values.one_thread import on_one_thread


def threads():
    return {pool["num_threads"] for pool in threadpoolctl.threadpool_info() if pool["user_api"] == "blas"}


def test_linear_algebra_stays_on_one_thread_and_is_free_again_afterwards():
    with threadpoolctl.threadpool_limits(2, user_api="blas"):
        assert on_one_thread(threads)() == {1}
        assert threads() == {2}
