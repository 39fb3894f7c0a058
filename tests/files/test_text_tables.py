import csv
import io

import pytest

from charprobe.files.text_tables import csv_text, markdown_table


@pytest.mark.parametrize("name", ["=1+1", "+x", "-5 dB pad", "@sum", "\t=1"])
def test_no_cell_runs_as_a_formula_and_numbers_stay_numbers(name):
    text = csv_text(["setting", "gain [dB]"], [[name, -3.5], ["é", None]])
    rows = list(csv.reader(io.StringIO(text.removeprefix("\ufeff"), newline="")))
    assert rows == [["setting", "gain [dB]"], ["'" + name.replace("\t", " "), "-3.5"], ["é", ""]]


def test_markdown_shows_odd_names_literally():
    table = markdown_table(["a|b", "$x$"], [["<b>\nnew_line*", "\\"]])
    assert table.splitlines() == ["| a\\|b | \\$x\\$ |", "| --- | --- |", "| \\<b\\>↵new\\_line\\* | \\\\ |"]
