"""Every code a finding can have stands in the list that scripts rely on, and no other does."""

import ast
import re
from pathlib import Path

ROOT = Path(__file__).parents[1]
LIST = re.findall(r"`([a-z-]+)`", "\n".join(re.findall(r"^\| (`[^|]*) \|", (ROOT / "docs" / "health-codes.md").read_text("utf-8"), re.M)))  # fmt: skip


def codes_in(path):
    """Codes given to a finding as they stand, alone or as one of two."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Call) and ast.unparse(node.func) == "Health" and node.args:
            first = node.args[0]
            for one in (first.body, first.orelse) if isinstance(first, ast.IfExp) else (first,):
                if isinstance(one, ast.Constant):
                    yield one.value


def test_the_list_holds_what_the_program_can_say():
    paths = sorted((ROOT / "charprobe").rglob("*.py"))
    said = {code for path in paths for code in codes_in(path)}
    assert len(said) > 35
    assert said <= set(LIST), sorted(said - set(LIST))
    text = "\n".join(path.read_text(encoding="utf-8") for path in paths)
    assert len(LIST) == len(set(LIST))
    assert [code for code in LIST if f'"{code}"' not in text] == []
