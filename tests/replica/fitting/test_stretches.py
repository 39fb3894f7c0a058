from charprobe.replica.fitting.stretches import Stretch, _of, after_loud
from charprobe.stimulus.kinds.level_steps import LevelSteps
from charprobe.stimulus.kinds.segment import Tone
from charprobe.stimulus.recipe import load_recipe
from charprobe.stimulus.render import lay_out


def test_onsets_as_loud_are_remembered_at_another_pitch_and_quieter_ones_are_not():
    played = ((700, -6.0), (110, -6.0), (700, -6.0), (110, -6.0), (997, -20.0))
    tones = [Tone(1000 * i, 900, hz, level, 0.0, 10, i) for i, (hz, level) in enumerate(played)]
    stretch = after_loud(Stretch("steps", 5000, 6000, "fit"), tones)
    assert stretch.before == ((4000, -20.0), (3000, -6.0), (2000, -6.0))


def test_a_search_hears_how_two_steps_let_go_and_others_are_held_out():
    [steps] = lay_out(load_recipe("quick"), rate_hz=48_000, take=1).of_kind(LevelSteps)
    found = list(_of(steps, -20.0, 48_000))
    top = max(range(len(steps.tones)), key=lambda i: steps.tones[i].level_dbfs)
    down = [one for one in found if one.start > steps.tones[top].start]
    assert [one.use for one in down] == ["search", "held out"]
    assert down[0].stop <= steps.tones[top + 2].stop and down[1].start == steps.tones[top + 3].start
