"""Words to phones: the dictionary, a language's own lines, two words in one, letters to sound.

Spellings beside the checks are from the CMU Pronouncing Dictionary 0.7b, from memory.
"""

from __future__ import annotations

import pytest

from callout.sound.espeak import espeak
from callout.speech.closed.names.pronounce import SIGNS, Pronouncer, from_ipa, spelling
from callout.station.data import load_language


def shown(spelt: tuple[int, ...]) -> str:
    return " ".join(SIGNS[sign] for sign in spelt)


def said(word: str, heard: Pronouncer | None = None) -> list[str]:
    return [shown(one) for one in (heard or Pronouncer()).of(word)]


@pytest.mark.parametrize(
    ("word", "phones"), [("three", "TH R IY"), ("hemlock", "HH EH M L AA K"), ("birch", "B ER CH")]
)
def test_a_word_of_the_dictionary_is_said_as_it_tells(word, phones):
    assert phones in said(word)


def test_every_way_of_saying_a_word_is_known():
    assert {"Z IH R OW", "Z IY R OW"} <= set(said("zero"))


def test_a_languages_own_line_comes_first():
    assert said("two", Pronouncer({"two": "T UW1 Z"})) == ["T UW Z"]


def test_a_word_of_two_is_said_as_both():
    """The dictionary has bass, a fish and a voice, but no basswood."""
    assert {"B AE S W UH D", "B EY S W UH D"} <= set(said("basswood"))


def test_a_word_of_no_list_is_put_from_letters_to_sound_and_else_unknown():
    heard = Pronouncer(sounds=lambda word: "ɡɹˈɪŋkoʊ" if word == "gringko" else "")
    assert said("gringko", heard) == ["G R IH NG K OW"]
    assert heard.of("나무") == ()


def test_the_voice_tells_the_sounds_of_a_word():
    """Persimmon as in dictionaries of American English, from memory: pərˈsɪmən."""
    heard = Pronouncer(sounds=lambda word: espeak().sounds(word, "en-us"))
    assert said("persimmon", heard) == ["P ER S IH M AH N"]


def test_signs_that_are_no_phones_are_passed_over():
    assert shown(from_ipa("tʃˈɜːtʃ")) == "CH ER CH"
    assert spelling("T QQ") == ()


def test_every_word_of_the_grammar_can_be_pronounced():
    language = load_language("en")
    heard = Pronouncer(language.pronunciations)
    heard.learn(language.spoken.words)
    assert sorted(word for word in language.spoken.words if not heard.of(word)) == []
