"""The tests of stated intervals with many more draws: ``python -m tests.benchmarks.interval_bench [--draws N]``.

Each test draws a few and allows three standard deviations of chance; here the same assertions meet draws enough to show
an interval that is a tenth too narrow.
"""

import sys
import time
import zlib
from functools import partial
from pathlib import Path

import click
import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from tests.estimators import test_response_shape
from tests.estimators.colour import test_harmonics
from tests.estimators.static import test_readings
from tests.estimators.timing import test_release_kind
from tests.estimators.timing.edge import test_times

DRAWN = {
    "harmonics: scatter": test_harmonics.test_stated_uncertainty_equals_the_scatter_and_meets_the_bound,
    "static readings": test_readings.test_intervals_hold_the_truth_as_often_as_they_say,
    "shelf of a response": test_response_shape.test_intervals_hold_the_truth,
    "constant of a release": test_release_kind.test_intervals_of_the_constant_hold_the_truth,
    "times at -95 dBFS": partial(test_times.test_intervals_hold_the_truth, -95.0),
    "times at -80 dBFS": partial(test_times.test_intervals_hold_the_truth, -80.0),
}


@click.command()
@click.option("--draws", default=200, show_default=True)
def main(draws: int) -> None:
    """Run each and say whether its intervals held."""
    for name, test in DRAWN.items():
        started = time.process_time()
        try:
            test(rng=np.random.default_rng(zlib.crc32(name.encode())), draws=draws)
            verdict = "held"
        except AssertionError as error:
            verdict = f"MISSED: {str(error).splitlines()[0]}"
        click.echo(f"{name:24} {draws} draws  {time.process_time() - started:6.1f} s of CPU  {verdict}")


if __name__ == "__main__":
    main()
