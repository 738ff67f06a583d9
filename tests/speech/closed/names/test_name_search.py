"""The search for names over phones, on probabilities made by hand. Names are invented or common."""

from __future__ import annotations

import numpy as np

from callout.speech.closed.head import LogProbs
from callout.speech.closed.names.name_search import (
    NameSearch,
    likelihood,
    likelihoods,
    names_of,
    place,
    spellings,
    with_words,
)
from callout.speech.closed.names.pronounce import SIGNS, Pronouncer
from callout.station.data import load_language

SPECIES = ("red maple", "sugar maple", "cucumber tree")
SPOKEN = load_language("en", SPECIES).spoken
LACKING = {"red", "sugar", "maple", "cucumber"}
SAYS = Pronouncer()


def as_said(text: str, doubt: float = 0.05) -> LogProbs:
    """Each phone of ``text`` for two frames, a blank between them; shape (T, phones)."""
    signs = [0]
    for word in text.split():
        for sign in SAYS.of(word)[0]:
            signs += [sign, sign, 0]
    chances = np.full((len(signs), len(SIGNS)), doubt / (len(SIGNS) - 1))
    chances[np.arange(len(signs)), signs] = 1 - doubt
    return np.log(chances).astype(np.float32)


def search() -> NameSearch:
    return NameSearch(with_words(SPOKEN, LACKING), SAYS)


def test_only_callouts_with_a_name_are_left():
    part = with_words(SPOKEN, LACKING)
    assert names_of(part) == {tuple(name.split()) for name in SPECIES}
    assert {word for word, _, _ in part.ways[part.start]} == {"new"}
    assert with_words(SPOKEN, {"unheard-of"}).finals == frozenset()


def test_the_name_is_found_between_tag_and_size():
    best = search().proposed(as_said("new tree four one seven sugar maple eight point one"), 5)[0]
    assert " ".join(best.words) == "new tree four one seven sugar maple eight point one"
    assert best.named == ("sugar", "maple")
    assert best.with_name(("red", "oak"))[5:7] == ("red", "oak")


def test_a_tree_in_a_name_is_part_of_it():
    best = search().proposed(as_said("new tree four one seven cucumber tree"), 5)[0]
    assert best.named == ("cucumber", "tree")


def test_the_place_of_a_name_is_what_says_it():
    sound = as_said("new tree five red maple nine point two")
    best = search().proposed(sound, 1)[0]
    part = place(sound, best, SAYS)
    names = [("red", "maple"), ("sugar", "maple")]
    own, other = likelihoods(part, [spellings(SAYS, name) for name in names])
    assert len(part) < len(sound) / 2 and own > other + 10


def test_words_are_as_likely_as_their_phones():
    sound = as_said("new tree five")
    right = likelihood(sound, ("new", "tree", "five"), SAYS)
    assert right > likelihood(sound, ("new", "tree", "nine"), SAYS) + 3
    assert likelihood(sound, ("나무",), SAYS) == -np.inf
