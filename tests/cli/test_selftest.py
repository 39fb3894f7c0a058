import pytest
from click.testing import CliRunner

from charprobe.cli import main
from charprobe.publishing.report.truth_row import TruthRow
from charprobe.rehearsal import selftest
from charprobe.values.quantity import Quantity, Unmeasured


@pytest.mark.parametrize(
    ("reading", "verdict", "code"),
    [
        (Quantity(4.0, 3.9, 4.1, ":1"), "good", 0),
        (Quantity(4.5, 4.4, 4.6, ":1"), "off", 1),
        (Unmeasured(":1", "too low", "louder", at_least=5.0), "bound wrong", 1),
        (Unmeasured(":1", "too low", "louder", at_least=3.0), "bound holds", 0),
    ],
)
def test_a_number_or_bound_that_is_off_ends_with_code_1(reading, verdict, code, monkeypatch):
    row = TruthRow("feedback-soft", "static.ratio", 4.0, ":1", reading, 0.1)
    monkeypatch.setattr(selftest, "run_selftest", lambda *_, **__: [row])
    ended = CliRunner().invoke(main, ["selftest", "--recipe", "quick"])
    assert ended.exit_code == code
    assert verdict in ended.output
