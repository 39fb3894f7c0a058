import pytest
from small_session import RECIPE, SESSION, write_capture


@pytest.fixture(scope="module")
def captured(tmp_path_factory):
    folder = tmp_path_factory.mktemp("session")
    (folder / "short.toml").write_text(RECIPE, encoding="utf-8")
    (folder / "s.toml").write_text(SESSION, encoding="utf-8")
    for number, (name, gain_db) in enumerate([("off", 0), ("plain 1", 0), ("plain 2", 0), ("loud", 3)]):
        write_capture(folder / f"{name}.wav", number, gain_db)
    return folder
