"""All stages of the zoo by name."""

from __future__ import annotations

from dataclasses import replace

from tests.benchmarks.zoo.bay_controls import BAY_CONTROLS
from tests.benchmarks.zoo.bay_paths import BAY_PATHS
from tests.benchmarks.zoo.bent_compressors import BENT_COMPRESSORS
from tests.benchmarks.zoo.chains import STRIPS
from tests.benchmarks.zoo.compressors import COMPRESSORS
from tests.benchmarks.zoo.console_controls import CONSOLE_CONTROLS
from tests.benchmarks.zoo.console_paths import CONSOLE_PATHS
from tests.benchmarks.zoo.desk_controls import DESK_CONTROLS
from tests.benchmarks.zoo.desk_paths import DESK_PATHS
from tests.benchmarks.zoo.foreign import FOREIGN
from tests.benchmarks.zoo.late_controls import LATE_CONTROLS
from tests.benchmarks.zoo.late_paths import LATE_PATHS
from tests.benchmarks.zoo.mixed_controls import MIXED_CONTROLS
from tests.benchmarks.zoo.mixed_paths import MIXED_PATHS
from tests.benchmarks.zoo.odd_controls import ODD_CONTROLS
from tests.benchmarks.zoo.odd_paths import ODD_PATHS
from tests.benchmarks.zoo.outboard_controls import OUTBOARD_CONTROLS
from tests.benchmarks.zoo.rack_controls import RACK_CONTROLS
from tests.benchmarks.zoo.rack_paths import RACK_PATHS
from tests.benchmarks.zoo.release_laws import RELEASE_LAWS
from tests.benchmarks.zoo.saturators import SATURATORS
from tests.benchmarks.zoo.slow_compressors import SLOW_COMPRESSORS
from tests.benchmarks.zoo.stage import LONGEST, Draw, Stage
from tests.benchmarks.zoo.strip_controls import STRIP_CONTROLS
from tests.benchmarks.zoo.strip_paths import STRIP_PATHS
from tests.benchmarks.zoo.unit_habits import UNIT_HABITS
from tests.benchmarks.zoo.unlike_cells import UNLIKE_CELLS


def stages(seed: int | None = None) -> dict[str, Stage]:
    """Every stage; with a seed, those of our own making have parameters drawn around their usual ones."""
    makers = (
        *(*COMPRESSORS, *SLOW_COMPRESSORS, *BENT_COMPRESSORS, *SATURATORS, *RELEASE_LAWS, *UNLIKE_CELLS),
        *(*ODD_CONTROLS, *ODD_PATHS, *UNIT_HABITS, *MIXED_CONTROLS, *MIXED_PATHS),
        *(*LATE_CONTROLS, *LATE_PATHS, *STRIP_CONTROLS, *STRIP_PATHS, *DESK_CONTROLS, *DESK_PATHS),
        *(*CONSOLE_CONTROLS, *CONSOLE_PATHS, *RACK_CONTROLS, *RACK_PATHS, *BAY_CONTROLS, *BAY_PATHS),
        *OUTBOARD_CONTROLS,
    )
    own = [make(Draw(None if seed is None else 1000 * seed + number)) for number, make in enumerate(makers)]
    if seed is not None:  # drawn times are up to LONGEST times as long
        own = [replace(one, warm_s=LONGEST * one.warm_s, calm_s=LONGEST * one.calm_s) for one in own]
    return {stage.name: stage for stage in (*own, *FOREIGN, *STRIPS)}
