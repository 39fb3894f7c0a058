from dataclasses import dataclass

import pytest

from charprobe.comparing.curves import CURVES
from charprobe.comparing.topics import TOPICS, judged
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
    one = next(each for each in TOPICS if each.word == topic)
    answer = judged(one, {name: Found(word) for name, word in found.items()})
    assert (answer and answer.verdict) == verdict
    assert answer is None or answer.text == f"in full: {verdict}"


def test_every_topic_asks_for_what_is_compared():
    names = {name for topic in TOPICS for name in topic.names}
    assert names <= {*CURVES, *glossary.TERMS}
