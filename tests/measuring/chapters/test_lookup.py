from taken import take_of, wire

from charprobe.measuring.chapters.colour.chapter import colour_chapter
from charprobe.stimulus.kinds.steady import Silence
from charprobe.values.quantity import Unmeasured


def test_recipe_without_tones_names_one_that_has_them(rng):
    chapter = colour_chapter(take_of([Silence("idle", 0.5)], wire, rng=rng), None, None)
    for name, entry in chapter.quantities.items():
        assert name.startswith(("colour.", "noise.")) and isinstance(entry.reading, Unmeasured)
        pair = "imd" in name
        assert ("two_tone" if pair else "tones") in entry.reading.reason
        assert ("colour" if pair else "quick") in entry.reading.next
