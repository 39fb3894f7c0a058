def test_a_missing_number_has_its_reason_beside_it(read):
    text = "".join(read.text)
    assert "Release memory: Not measured: the recipe has no burst_lengths segment. Next: measure with" in text
    missing = [attributes["title"] for _, attributes in read.elements if attributes.get("class") == "missing"]
    assert any("the gain moves only after the edge. To settle it: none needed" in title for title in missing)


def test_every_term_can_be_reached_by_keyboard_and_has_its_definition(read):
    terms = [attributes for tag, attributes in read.elements if attributes.get("class") == "term"]
    assert len(terms) > 50
    assert all(attributes["title"].endswith(".") for attributes in terms)
    scrolled = [a for _, a in read.elements if a.get("class") == "scroll" and "aria-label" in a]
    assert all(attributes["tabindex"] == "0" for attributes in scrolled)


def test_logarithmic_time_is_drawn_for_bent_recoveries_only(page):
    assert page.count("a logarithmic time axis") == 1  # the two-stage setting's
