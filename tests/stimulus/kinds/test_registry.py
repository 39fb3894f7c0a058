import dataclasses

import pytest

from charprobe.files.checked_table import fields_of
from charprobe.stimulus.kinds.registry import KINDS
from charprobe.stimulus.kinds.segment import Spec
from charprobe.stimulus.recipe import load_recipe, shipped_recipes


def finished(kind=Spec):
    """Every kind that has a name of its own."""
    return {k for sub in kind.__subclasses__() for k in {sub, *finished(sub)} if "kind" in vars(k)}


def test_every_kind_is_listed_under_its_own_name():
    assert set(KINDS.values()) == finished()
    assert all(spec.kind == kind for kind, spec in KINDS.items())


@pytest.mark.parametrize("kind", KINDS)
def test_every_field_of_a_kind_has_a_rule_that_admits_its_default(kind):
    rules = fields_of(KINDS[kind])
    fields = {field.name: field.default for field in dataclasses.fields(KINDS[kind])}
    assert set(rules) == set(fields)
    assert (next(iter(rules)), list(rules)[-1]) == ("name", "gap_s")
    for key, default in fields.items():
        assert default is dataclasses.MISSING or rules[key].admits(default), key
    assert set(KINDS[kind].rising) <= set(rules)


def test_every_kind_is_played_by_a_shipped_recipe():
    assert {spec.kind for name in shipped_recipes() for spec in load_recipe(name).segments} == set(KINDS)
