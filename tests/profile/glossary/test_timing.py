from charprobe.profile.glossary.timing import ATTACK, RELEASE

SHARED = ("t50", "t63", "t90", "within_2db")


def test_both_edges_are_timed_by_the_same_definitions_in_seconds_within_the_goals_of_each():
    for name in SHARED:
        rising, falling = ATTACK[f"attack.{name}"], RELEASE[f"release.{name}"]
        assert (rising.unit, falling.unit) == ("s", "s")
        assert "rising edge" in rising.definition
        assert "falling edge" in falling.definition
        assert rising.margin == falling.margin
    for name in SHARED[:3]:
        rising, falling = ATTACK[f"attack.{name}"].goal, RELEASE[f"release.{name}"].goal
        assert rising.allowed(0.01, rate_hz=48_000) == 0.0002  # 2 %
        assert rising.allowed(0.0001, rate_hz=48_000) == 1 / 48_000  # or a sample
        assert falling.allowed(0.1, rate_hz=48_000) == 0.001  # 1 %
