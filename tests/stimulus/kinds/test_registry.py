import dataclasses
from typing import Annotated, Literal, get_args, get_origin, get_type_hints

import pytest
from annotated_types import Interval, Len

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
def test_every_number_of_a_kind_has_a_range(kind):
    hints = get_type_hints(KINDS[kind], include_extras=True)
    for field in dataclasses.fields(KINDS[kind]):
        hint = hints[field.name]
        if get_origin(hint) is not Annotated:
            assert hint is bool or hint == Literal[kind], field.name
            continue
        value, *limits = get_args(hint)
        item = get_args(get_args(value)[0]) if get_origin(value) is tuple else (value, *limits)
        if item[0] in (float, int):
            assert any(isinstance(limit, Interval) for limit in item[1:]), field.name
        if get_origin(value) is tuple:
            assert Len(1, 64) in limits, field.name
    assert set(KINDS[kind].rising) <= set(hints)


def test_every_kind_is_played_by_a_shipped_recipe():
    assert {spec.kind for name in shipped_recipes() for spec in load_recipe(name).segments} == set(KINDS)
