"""Imports point one way: every module may import only what stands in an earlier layer."""

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1] / "charprobe"
LAYERS = [
    "errors",
    "quantity",
    "wording phasor",
    "cut",
    "recipe",
    "waveforms",
    "stimulus",
    "ident sync",
    "generators",
    "output",
    "containers wav_header sample_codes source sound_path strict_json checked_row",
    "audio repair channels_apart",
    "cue_sheet",
    "make_stimulus",
    "stages",
    "simulate demo_device",
    "marker_search marker_delay tone_clock sweep_clock segment_search",
    "marker_runs timing_jump edited_gaps not_found",
    "alignment",
    "take recognise",
    "estimators",
    "chapter",
    "table_columns",
    "chapters",
    "health",
    "glossary",
    "profile_json profile_digits",
    "profile",
    "volts_file in_dbu burst_traces",
    "pipeline listening verdict",
    "measure_file",
    "margins equivalence tables",
    "subjects",
    "compared_curve",
    "compared_kinds compared_traces curve_gap",
    "comparison",
    "sentences",
    "summary compare designer",
    "changes",
    "session_file folder_lock",
    "session_pairing claims",
    "session stage_off session_needs",
    "session_plan",
    "figures",
    "report",
    "publish",
    "goals",
    "selftest",
    "demo demo_rack",
    "cli",
    "__main__",
]
RANK = {name: rank for rank, names in enumerate(LAYERS) for name in names.split()}
PLACELESS = ("__init__.py", "schema")
MODULES = sorted(p for p in ROOT.rglob("*.py") if p.relative_to(ROOT).parts[0] not in PLACELESS)


def area(parts: tuple[str, ...]) -> str:
    """First part below the package: the file or subpackage that the layer list places."""
    return parts[0]


def imports_of(path: Path) -> set[str]:
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path.name}: relative imports hide the direction"
            names = [node.module or ""]
            if node.module == "charprobe":
                names = [f"charprobe.{alias.name}" for alias in node.names if alias.name != "__version__"]
        elif isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        else:
            continue
        found |= {name.split(".", 1)[1] for name in names if name.startswith("charprobe.")}
    return found


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(ROOT)))
def test_imports_point_to_earlier_layers(path):
    relative = path.relative_to(ROOT).with_suffix("")
    own = area(relative.parts)
    assert own in RANK, f"{relative}: give the new module a place in LAYERS"
    for name in imports_of(path):
        other = area(tuple(name.split(".")))
        if other in ("stimuli", "schema"):
            continue
        assert RANK[other] <= RANK[own], f"{relative} imports {name}, which stands later"


def test_only_the_owners_use_the_heavy_libraries():
    allowed = {
        "soundfile": ("audio",),
        "matplotlib": ("figures",),
        "numba": ("stages",),
        "librosa": ("listening",),
        "soxr": ("listening",),
    }
    for path in MODULES:
        own = area(path.relative_to(ROOT).with_suffix("").parts)
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            names = []
            if isinstance(node, ast.Import):
                names = [alias.name for alias in node.names]
            elif isinstance(node, ast.ImportFrom):
                names = [node.module or ""]
            for library, owners in allowed.items():
                if any(name.split(".")[0] == library for name in names):
                    assert own in owners, f"{path.name} imports {library}"
