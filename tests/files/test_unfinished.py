import pytest

from charprobe.files.unfinished import may_start_over


def test_what_never_ended_may_be_replaced_and_what_ended_may_not(tmp_path):
    with pytest.raises(KeyboardInterrupt), may_start_over(tmp_path, force=False) as replaced:
        assert replaced
        (tmp_path / "half").touch()
        raise KeyboardInterrupt
    with may_start_over(tmp_path, force=False) as replaced:
        assert replaced
    assert [path.name for path in tmp_path.iterdir()] == ["half"]
    with may_start_over(tmp_path, force=False) as replaced:
        assert not replaced
    with may_start_over(tmp_path, force=True) as replaced:
        assert replaced


def test_a_folder_that_held_something_else_is_not_ours(tmp_path):
    (tmp_path / "mine").touch()
    with pytest.raises(RuntimeError), may_start_over(tmp_path, force=False) as replaced:
        assert not replaced
        raise RuntimeError
    with may_start_over(tmp_path, force=False) as replaced:
        assert not replaced
