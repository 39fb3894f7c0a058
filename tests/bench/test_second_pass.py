import pytest

from charprobe.bench.second_pass import recipe_text
from charprobe.stimulus.recipe import load_recipe, parse_recipe, shipped_recipes


@pytest.mark.parametrize("name", shipped_recipes())
def test_a_recipe_written_down_is_the_same_recipe(name):
    recipe = load_recipe(name)
    assert parse_recipe(recipe_text(recipe), source="text").hash == recipe.hash
