import numpy as np
import pytest
from played import capture, recorded, short_stimulus

from charprobe.placing.recognise import recognise, recognise_any
from charprobe.stimulus.recipe import load_recipe
from charprobe.stimulus.render import lay_out, render
from charprobe.values.errors import AlignmentError


def test_the_ident_names_recipe_and_take(rng):
    played = lay_out(load_recipe("quick"), rate_hz=48_000, take=9)
    heard = render(played)[: played.ident.stop + 48_000]
    assert recognise(capture(heard + rng.normal(0, 1e-5, heard.size)), 0) == played


def test_an_ident_of_no_shipped_recipe_and_no_ident_at_all_are_refused(rng):
    with pytest.raises(
        AlignmentError, match=r"take\.wav, channel 1: the sound names recipe .*take 7, which is none"
    ):
        recognise(capture(recorded(short_stimulus(), delay=10.0, noise=rng)), 0)
    with pytest.raises(AlignmentError, match="no ident found in the sound"):
        recognise(capture(rng.normal(0, 0.01, 5 * 48_000)), 0)


def test_whichever_channel_says_it_says_it_for_all(rng):
    played = lay_out(load_recipe("quick"), rate_hz=48_000, take=9)
    heard = render(played)[: played.ident.stop + 48_000]
    sides = np.stack([np.zeros(heard.size), heard], axis=1) + rng.normal(0, 1e-5, (heard.size, 2))
    assert recognise_any(capture(sides)) == played
    with pytest.raises(AlignmentError, match="channel 1: no ident found"):
        recognise_any(capture(sides[:, [0, 0]]))
