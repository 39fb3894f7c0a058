"""The JSON Schemas that are shipped say what the dataclasses say.

After a change of a form: ``python -m tests.test_shipped_schemas`` writes them again.
"""

import json
import tomllib
from importlib import resources
from pathlib import Path

import jsonschema
import pytest

from charprobe.files.checked_model import schema_of
from charprobe.profile.json_form import ProfileForm
from charprobe.profile.profile import Profile
from charprobe.replica.model import Replica
from charprobe.session.file import STARTER, SessionForm
from charprobe.stimulus.cue_sheet import CueForm
from charprobe.stimulus.recipe import RecipeForm, recipe_from_table
from charprobe.values.errors import ProfileError, RecipeError
from tests.made_profiles import B, made_profile

FORMS = {
    "profile/profile-1.json": (ProfileForm, "charprobe profile: one channel of one setting"),
    "stimulus/cues-1.json": (CueForm, "charprobe cue sheet: what a stimulus file plays and when"),
    "stimulus/recipe-1.json": (RecipeForm, "charprobe recipe: what a stimulus is made of"),
    "replica/replica-1.json": (Replica, "charprobe replica: a model of one setting that runs"),
    "session/session-1.json": (SessionForm, "charprobe session: a device, its settings, captures and claims"),
}


def generated(name):
    form, title = FORMS[name]
    return schema_of(form, title=title)


@pytest.mark.parametrize("name", FORMS)
def test_the_shipped_schema_is_the_one_of_the_form(name):
    shipped = json.loads((resources.files("charprobe") / name).read_text(encoding="utf-8"))
    jsonschema.Draft202012Validator.check_schema(shipped)
    assert shipped == generated(name)


def test_the_starter_of_a_session_follows_the_schema():
    validator = jsonschema.Draft202012Validator(generated("session/session-1.json"))
    table = tomllib.loads(STARTER)
    validator.validate(table)
    for change in ({"schema": "x"}, {"device": {}}, {"setting": []}, {"colour": 1}):
        assert not validator.is_valid(table | change), change


SHIPPED = sorted((Path(__file__).parents[1] / "stimuli").glob("*.toml"))
SILENCE = {"kind": "silence", "name": "rest", "length_s": 1.0}


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_every_shipped_recipe_follows_the_schema(path):
    validator = jsonschema.Draft202012Validator(generated("stimulus/recipe-1.json"))
    validator.validate(tomllib.loads(path.read_text(encoding="utf-8")))


@pytest.mark.parametrize(
    "change",
    [
        {"schema": "x"}, {"segment": []}, {"colour": 1}, {"peak_dbfs": 1.0}, {"name": "Big"},
        {"segment": [{key: value for key, value in SILENCE.items() if key != "kind"}]},
        {"segment": [SILENCE | {"kind": "rest"}]}, {"segment": [SILENCE | {"length_s": "long"}]},
    ],
)  # fmt: skip
def test_the_schema_of_recipes_refuses_what_the_code_refuses(change):
    validator = jsonschema.Draft202012Validator(generated("stimulus/recipe-1.json"))
    table = {"schema": "charprobe.recipe/1", "name": "one", "summary": "one", "segment": [SILENCE]}
    validator.validate(table)
    recipe_from_table(table, source="recipe")
    assert not validator.is_valid(table | change)
    with pytest.raises(RecipeError):
        recipe_from_table(table | change, source="recipe")


@pytest.mark.parametrize("polarity", [0, 2, 1.0, True, "1", None])
def test_a_polarity_is_1_or_minus_1_in_schema_and_code(polarity):
    profile = json.loads(made_profile(B).to_json())
    profile["alignment"]["polarity"] = -1
    validator = jsonschema.Draft202012Validator(generated("profile/profile-1.json"))
    validator.validate(profile)
    Profile.from_json(json.dumps(profile), source="a.json")
    profile["alignment"]["polarity"] = polarity
    if polarity != 1.0 or isinstance(polarity, bool):  # to JSON Schema 1.0 is 1
        assert not validator.is_valid(profile)
    with pytest.raises(ProfileError, match="polarity"):
        Profile.from_json(json.dumps(profile), source="a.json")


if __name__ == "__main__":
    for name in FORMS:
        path = Path(__file__).parents[1] / "charprobe" / name
        path.write_text(json.dumps(generated(name), indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
