"""Text from outside: what is left of it moves no cursor, starts no line and turns no writing."""

import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.text import REPLACEMENT, clean_text, printable

# Unicode Standard Annex #9, Bidirectional Algorithm, table 4: explicit formatting characters, and the three marks
BIDI = "\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069\u200e\u200f\u061c"
# ECMA-48, 5th edition, 5.3 and 5.4: the C0 and C1 sets
CONTROLS = "".join(map(chr, [*range(0x20), *range(0x7F, 0xA0)]))


@pytest.mark.parametrize("character", [*BIDI, *CONTROLS])
def test_what_a_terminal_obeys_is_taken_out(character):
    assert clean_text(f"a{character}b", 10) in ("ab", "a b")
    assert printable(f"a{character}b") == (f"a{character}b" if character in "\n\t" else f"a{REPLACEMENT}b")


@given(st.text(max_size=200), st.integers(1, 60))
def test_whatever_comes_one_harmless_line_is_left(text, longest):
    cleaned = clean_text(text, longest)
    assert len(cleaned) <= longest
    assert not set(cleaned) & set(BIDI + CONTROLS)
    assert cleaned == cleaned.strip()
    assert not any(unicodedata.category(c) in ("Cc", "Cf", "Cs", "Co", "Cn", "Me") for c in cleaned)
    assert clean_text(cleaned, longest) == cleaned, "twice changes nothing more"


@given(st.text(alphabet=st.characters(min_codepoint=32, max_codepoint=126), max_size=60))
def test_plain_text_stays_as_it_is_but_for_spaces(text):
    assert clean_text(text, 60) == " ".join(text.split())
    assert printable(text) == text


def test_two_keys_that_differ_by_such_a_character_stay_apart():
    keys = [clean_text(key, 40, instead=REPLACEMENT) for key in ("p1", "p1\x07", "p\x071")]
    assert len(set(keys)) == 3


@given(st.text(max_size=100))
def test_what_is_printed_keeps_lines_and_tabs_and_nothing_that_is_obeyed(text):
    shown = printable(text)
    assert len(shown) == len(text)
    assert not set(shown) & (set(BIDI + CONTROLS) - {"\n", "\t"})


def test_words_of_people_stay_and_piled_up_marks_do_not():
    for words in ("ไก่ย่าง", "thịt bò nướng", "पसलियाँ", "牛胸肉", "Räucherkammer"):
        assert clean_text(words, 60) == unicodedata.normalize("NFC", words)
    piled = "a" + "\u0310" * 50
    assert len(clean_text(piled, 60)) == 3
