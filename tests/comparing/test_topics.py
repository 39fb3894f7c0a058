from dataclasses import dataclass

import pytest

from charprobe.comparing.curves import CURVES
from charprobe.comparing.topics import TOPICS, judged_pair
from charprobe.profile import glossary


@dataclass(frozen=True)
class Found:
    verdict: str

    @property
    def text(self):
        return f"in full: {self.verdict}"

    short = text


@pytest.mark.parametrize(
    ("topic", "found", "verdict"),
    [
        ("colour", {"colour.thd_at_reference": "same", "colour.h3_at_reference": "different"}, "different"),
        ("colour", {"colour.thd_at_reference": "same", "colour.onset": "none"}, "none"),
        ("curve", {"static curve": "different", "static curve, anchored": "same"}, "same"),
        ("attack", {"attack.t63": "cannot tell", "attack trace": "different"}, "different"),
        ("attack", {"attack.t63": "cannot tell"}, "cannot tell"),
        ("gain", {}, None),
    ],
)
def test_the_weightiest_that_is_decided_speaks_for_a_topic_but_any_for_colour(topic, found, verdict):
    told = judged_pair({name: Found(word) for name, word in found.items()})
    answers = [(one.word, one.verdict, one.text) for one in told]
    assert answers == ([(topic, verdict, f"in full: {verdict}")] if verdict else [])


def test_every_topic_asks_for_what_is_compared():
    names = {name for topic in TOPICS for name in topic.names}
    assert names <= {*CURVES, *glossary.TERMS}
