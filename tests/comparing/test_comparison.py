import csv
import io

import pytest
from compared import pair
from made_profiles import LIMITER, UGLY, B

from charprobe.profile import glossary
from charprobe.values.errors import OutputError


def read_csv(path):
    return list(csv.reader(io.StringIO(path.read_text(encoding="utf-8-sig"), newline="")))


def test_tables_carry_units_in_every_header_and_every_name_in_the_dictionary(tmp_path):
    comparison = pair(UGLY, LIMITER)
    paths = comparison.save(tmp_path / "new", force=False)
    tables = {path.name: read_csv(path) for path in paths if path.suffix == ".csv"}
    header = tables["values.csv"][0]
    assert all(cell.endswith("]") for cell in header[1:])
    dictionary = {row[0]: row[1] for row in tables["dictionary.csv"][1:]}
    for cell in header[2:]:
        name = cell.split(" ")[0]
        assert dictionary[name] == glossary.term(name).unit
    assert {row[0] for row in tables["differences.csv"][1:]} <= set(dictionary)
    with pytest.raises(OutputError, match="already exists"):
        comparison.save(tmp_path / "new", force=False)


def test_two_runs_give_the_same_bytes(tmp_path):
    first = [path.read_bytes() for path in pair(B, UGLY).save(tmp_path / "a", force=False)]
    assert first == [path.read_bytes() for path in pair(B, UGLY).save(tmp_path / "b", force=False)]
