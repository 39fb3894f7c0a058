import csv

from commands import good


def test_show_prints_the_profile(profiles):
    assert "Threshold" in good("show", profiles[0]).stdout  # README's example draws it


def test_compare_writes_tables_and_says_what_differs(profiles, tmp_path):
    good("compare", *profiles, "--out", tmp_path / "c")
    with (tmp_path / "c" / "differences.csv").open(encoding="utf-8-sig", newline="") as stream:
        rows = list(csv.DictReader(stream))
    curve = next(row for row in rows if row["quantity"] == "static curve")
    assert {curve["first"], curve["second"]} == {"on", "off"}
    assert curve["verdict"] == "different"
