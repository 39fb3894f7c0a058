import json

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from charprobe.stimulus.recipe import SCHEMA, load_recipe, parse_recipe, recipe_from_table, shipped_recipes
from charprobe.values.errors import RecipeError

GOOD = """\
schema = "charprobe.recipe/1"
name = "mine"
summary = "a recipe of my own"

[[segment]]
kind = "sweep"
name = "response"
from_hz = 20
to_hz = 20000
length_s = 3
level_dbfs = -40

[[segment]]
kind = "tones"
name = "harmonics"
frequencies_hz = [100, 997]
levels_dbfs = [-20, -10]
tone_s = 0.3
"""


def test_a_users_own_recipe_loads_by_its_path(tmp_path):
    path = tmp_path / "mein Rezept ü.toml"
    path.write_text(GOOD, encoding="utf-8")
    recipe = load_recipe(path)
    assert [spec.kind for spec in recipe.segments] == ["sweep", "tones"]
    assert recipe_from_table(recipe.to_dict(), source="again") == recipe
    json.dumps(recipe.to_dict(), allow_nan=False)


@pytest.mark.parametrize("name", shipped_recipes())
def test_shipped_recipes_load_and_carry_their_own_name(name):
    assert load_recipe(name).name == name


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        (
            "length_s = 3",
            "length_s = 0.1",
            r"mine\.toml, line 10, segment 1: `length_s` is 0\.1; allowed: a number from 0\.5",
        ),
        ("length_s = 3", 'length_s = "3"', "line 10, segment 1: `length_s` is '3'"),
        ("length_s = 3", "length_s = true", "line 10, segment 1: `length_s`"),
        ("length_s = 3", "length_s = nan", "line 10, segment 1: `length_s`"),
        ("length_s = 3\n", "", "line 5, segment 1: `length_s` is missing"),
        ("tone_s = 0.3", "tone_s = 0.3\nhold = 1", "line 19, segment 2: there is no key `hold`"),
        ('kind = "tones"', 'kind = "chord"', "line 14, segment 2: `kind` is 'chord'; allowed: level_steps"),
        (
            "level_dbfs = -40",
            "level_dbfs = -0.5",
            "line 11, segment 1: `level_dbfs` is -0.5; allowed: at most the recipe's",
        ),
        ("to_hz = 20000", "to_hz = 15", "line 9, segment 1: `to_hz` is 15; allowed: more than from_hz"),
        ("[100, 997]", "[]", r"line 16, segment 2: `frequencies_hz` is \[\]; allowed: 1 to 64 entries"),
        (
            'name = "harmonics"',
            'name = "response"',
            "line 15, segment 2: `name` is 'response'; allowed: a name no other",
        ),
        (
            'name = "mine"',
            'name = "../mine"',
            "line 2: `name` is '../mine'; allowed: a name of small letters",
        ),
        (SCHEMA, "charprobe.recipe/9", "not a recipe: `schema` is 'charprobe.recipe/9'"),
        ("[[segment]]", "[segment", "not valid TOML"),
        (
            "[100, 997]",
            "[100, 30000]",
            "line 16, segment 2: entry 2 of `frequencies_hz` is 30000; allowed: a number",
        ),
        ("[100, 997]", "[100, true]", "line 16, segment 2: entry 2 of `frequencies_hz` is True"),
        ("[100, 997]", "997", "line 16, segment 2: `frequencies_hz` is 997; allowed: 1 to 64 entries"),
        ('name = "mine"', "", "mine.toml: `name` is missing; allowed: a name of small letters"),
        ('name = "mine"', 'name = "mine"\ncolour = 2', "line 3: there is no key `colour`; known"),
        ("a recipe of my own", "", "line 3: `summary` is ''; allowed: text of 1 to 300 characters"),
        ("length_s = 3", "length_s = " + "9" * 5000, "mine.toml, line .*: a number of 5000 digits"),
    ],
)
def test_a_bad_recipe_names_file_line_key_found_and_allowed(old, new, says):
    with pytest.raises(RecipeError, match=says):
        parse_recipe(GOOD.replace(old, new, 1), source="mine.toml")


def test_a_missing_recipe_lists_the_shipped_ones():
    with pytest.raises(RecipeError, match=r"no recipe 'nope'.*quick, standard"):
        load_recipe("nope")


def test_an_oversized_or_binary_file_is_refused(tmp_path):
    path = tmp_path / "big.toml"
    path.write_bytes(b"#" * 300_000)
    with pytest.raises(RecipeError, match="too large"):
        load_recipe(path)
    path.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(RecipeError, match="not UTF-8"):
        load_recipe(path)


@settings(max_examples=150, deadline=None)
@given(
    st.text(max_size=200)
    | st.builds(lambda i, s: GOOD[:i] + s + GOOD[i:], st.integers(0, len(GOOD)), st.text(max_size=8))
)
def test_any_text_gives_a_recipe_or_a_recipe_error(text):
    try:
        parse_recipe(text, source="fuzz")
    except RecipeError as error:
        assert str(error).startswith("fuzz")
