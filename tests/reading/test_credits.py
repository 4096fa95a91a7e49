"""Title and composer where a file has them only as words on its first page."""

import pytest

CREDITS = """<credit page="2"><credit-words font-size="40" justify="center">Second Page</credit-words></credit>
<credit page="1"><credit-words font-size="9" justify="center">© 1901 A. Nobody</credit-words></credit>
<credit page="1"><credit-words font-size="14" justify="center">a slow march</credit-words></credit>
<credit page="1"><credit-words font-size="24" justify="center">The Lamp\nLighter</credit-words></credit>
<credit page="1"><credit-words font-size="30" justify="center">1</credit-words></credit>
<credit page="1"><credit-words font-size="12" justify="right">A. Nobody</credit-words></credit>
"""


def read_with(reads, xml, heads, credits_=CREDITS):
    """A score of one bar with *heads* before its parts and the credits in their place."""
    text = xml.document(xml.attributes() + xml.note())
    return reads(text.replace("<part-list>", f"{heads}{credits_}<part-list>", 1))


def test_the_largest_words_of_the_first_page_are_the_title(reads, xml):
    """Sizes as engraving programs write them (credit, MusicXML 4.0): no page number, no notice, no other page."""
    score = read_with(reads, xml, "")
    assert (score.title, score.composer) == ("The Lamp Lighter", "A. Nobody")


def test_what_the_file_calls_title_and_composer_comes_first(reads, xml):
    """``credit-type`` stands over size and side, and the work's own title over both."""
    typed = (
        "<credit page='1'><credit-type>title</credit-type><credit-words>Small</credit-words></credit>"
        "<credit page='1'><credit-type>composer</credit-type><credit-words>B. Somebody</credit-words></credit>"
    )
    score = read_with(reads, xml, "", CREDITS + typed)
    assert (score.title, score.composer) == ("Small", "B. Somebody")
    named = "<work><work-title>Own Name</work-title></work>"
    assert read_with(reads, xml, named).title == "Own Name"


@pytest.mark.parametrize("size", ["large", "1e400", "-3", ""])
def test_a_size_that_is_none_costs_nothing(reads, xml, size):
    """Sizes may be words; such credits are the smallest."""
    odd = f"<credit><credit-words font-size='{size}'>Odd</credit-words></credit>"
    assert read_with(reads, xml, "", odd + CREDITS).title == "The Lamp Lighter"
    assert read_with(reads, xml, "", odd).title == "Odd"
