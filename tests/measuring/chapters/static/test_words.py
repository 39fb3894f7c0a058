from static_chapters import codes, on_steps


def test_a_plain_compressor_is_given_no_other_name():
    _, chapter, _ = on_steps("smooth-gain-soft")
    assert codes(chapter) <= {"unsettled"}
    assert any("compresses 2.5" in sentence for sentence in chapter.findings)
