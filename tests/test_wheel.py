"""The wheel carries everything that is read at run time."""

import subprocess
import sys
import zipfile
from pathlib import Path

ROOT = Path(__file__).parents[1]


def test_the_wheel_holds_recipes_schemas_and_the_page(tmp_path):
    source = tmp_path / "source"
    source.mkdir()
    for name in ("pyproject.toml", "README.md", "charprobe", "stimuli"):
        (source / name).symlink_to(ROOT / name)
    command = [
        sys.executable,
        "-m",
        "pip",
        "wheel",
        "--no-deps",
        "--no-build-isolation",
        "-w",
        tmp_path,
        source,
    ]
    subprocess.run(command, check=True, capture_output=True, timeout=120)
    (wheel,) = tmp_path.glob("*.whl")
    held = set(zipfile.ZipFile(wheel).namelist())
    data = [
        p
        for top in ("charprobe", "stimuli")
        for p in (ROOT / top).rglob("*.[!p]*")
        if "__pycache__" not in p.parts
    ]
    for path in data:
        place = str(path.relative_to(ROOT)).replace("stimuli/", "charprobe/recipes/", 1)
        assert place in held
    modules = {f"charprobe/{p.relative_to(ROOT / 'charprobe')}" for p in (ROOT / "charprobe").rglob("*.py")}
    assert modules <= held, sorted(modules - held)
