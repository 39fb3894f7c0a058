import pytest
from click.testing import CliRunner
from commands import good, run

from charprobe.cli import COMMANDS, main


@pytest.mark.parametrize(
    ("given", "says"),
    [
        (["mesure"], "did you mean 'measure'?"),
        (["blind", "mkae"], "did you mean 'make'?"),
        (["zzz"], "commands: demo, recipes"),
        (["show", "--figurs", "x", "p.json"], "--figures"),
    ],
)
def test_a_slip_is_met_with_what_was_meant(given, says):
    result = run(*given)
    assert result.exit_code == 2
    assert says in result.stderr
    assert result.stderr.count("Error:") == 1


def test_help_is_whole_and_every_command_has_an_example():
    listed = good("--help").stdout
    assert "..." not in listed.partition("Commands:")[2]
    for name in COMMANDS:
        assert f"\n  {name} " in listed
        assert "Example: charprobe" in " ".join(good(name, "--help").stdout.split())


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_shells_complete_commands_and_options(shell):
    source = CliRunner().invoke(
        main, [], prog_name="charprobe", env={"_CHARPROBE_COMPLETE": f"{shell}_source"}
    )
    assert "_CHARPROBE_COMPLETE" in source.output
    asked = {"_CHARPROBE_COMPLETE": f"{shell}_complete"}
    words = {"COMP_WORDS": "charprobe measure --byp", "COMP_CWORD": "--byp" if shell == "fish" else "2"}
    assert "--bypass" in CliRunner().invoke(main, [], prog_name="charprobe", env=asked | words).output
    words = {"COMP_WORDS": "charprobe mea", "COMP_CWORD": "mea" if shell == "fish" else "1"}
    assert "measure" in CliRunner().invoke(main, [], prog_name="charprobe", env=asked | words).output
