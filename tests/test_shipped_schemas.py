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
from charprobe.session.file import STARTER, SessionForm
from charprobe.stimulus.cue_sheet import CueForm

FORMS = {
    "profile/profile-1.json": (ProfileForm, "charprobe profile: one channel of one setting"),
    "stimulus/cues-1.json": (CueForm, "charprobe cue sheet: what a stimulus file plays and when"),
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


if __name__ == "__main__":
    for name in FORMS:
        path = Path(__file__).parents[1] / "charprobe" / name
        path.write_text(json.dumps(generated(name), indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
