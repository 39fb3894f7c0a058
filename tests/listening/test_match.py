import dataclasses

import numpy as np
import pytest
import soundfile

from charprobe.listening.match import RULES, TOLERANCE_DB, write_matched


def written(folder, case, rule):
    pair, trace = case
    paths = folder / "a.wav", folder / "b.wav"
    matched = write_matched(
        pair,
        trace=trace,
        rule=rule,
        dry_path=paths[0],
        processed_path=paths[1],
    )
    return matched, paths


@pytest.mark.parametrize("rule", RULES)
def test_written_files_match_by_the_rule_and_are_alike_in_form(tmp_path, bent, rule):
    matched, paths = written(tmp_path, bent, rule)
    assert matched.rule == rule
    assert abs(matched.after_db[rule]) <= TOLERANCE_DB
    assert max(matched.dry_gain_db, matched.processed_gain_db) <= 0
    dry, processed = (soundfile.info(path) for path in paths)
    assert (dry.frames, dry.samplerate, dry.subtype) == (processed.frames, processed.samplerate, "PCM_24")
    assert len({path.stat().st_size for path in paths}) == 1


def test_rms_of_the_files_read_back_by_another_reader_agrees(tmp_path, bent):
    _, paths = written(tmp_path, bent, "rms")
    rms = [np.sqrt(np.mean(soundfile.read(path)[0] ** 2)) for path in paths]
    assert abs(20 * np.log10(rms[1] / rms[0])) <= TOLERANCE_DB


@pytest.mark.parametrize("rule", RULES)
def test_a_gain_that_is_known_nowhere_leaves_the_other_rules(tmp_path, moved, rule):
    pair, trace = moved
    blind = dataclasses.replace(trace, known=np.zeros_like(trace.known))
    matched, _ = written(tmp_path, (pair, blind), rule)
    assert matched.rule == ("rms" if rule == "low-level" else rule)
    assert "low-level" not in matched.before_db
    assert any("known at no moment" in note for note in matched.notes) == (rule == "low-level")
    assert abs(matched.after_db[matched.rule]) <= TOLERANCE_DB
