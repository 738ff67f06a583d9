"""The echo in full, in few words, by tones: what is left out, and what never is. Invented."""

from __future__ import annotations

from decimal import Decimal

import pytest
from session_tools import Talk, survey, tree

from callout.core.checking.checks import Rules
from callout.core.errors import OperatorError
from callout.core.events import Say
from callout.sound.voice import Tone
from callout.station.speaking.spoken_echo import length_of, rate_of, tone_alone
from callout.station.speaking.spoken_turns import SpokenTurn
from callout.survey.config import ECHOES, Speaking, read_config
from callout.wording.language_files import load_wording
from callout.wording.wording import Length


def talk() -> Talk:
    return Talk(survey(tree("21", "20.0"), tree("22", "20.0"), tree("23", "20.0"), rules=Rules()))


def brief(one: Talk, language: str = "en") -> list[str]:
    wording = load_wording(language)
    says = [effect for effect in one.effects if isinstance(effect, Say)]
    return [wording.spoken(*effect.says, length=Length.BRIEF) for effect in says]


def test_tag_and_size_and_no_question():
    one = talk()
    one.read("21", "20.7")
    assert brief(one) == ["21, 20.7."]


def test_saved_is_a_tone_and_next_is_not_said():
    one = talk()
    one.save("21", "20.7")
    assert brief(one) == ["", ""]


def test_next_is_said_where_the_walk_left_its_order_and_when_asked_for():
    one = talk()
    one.save("21", "20.7")
    one.save("23", "20.7")
    assert "Passed over 22." in brief(one)[-1]
    one.hear("next")
    assert "22" in brief(one)[0] or "left" in brief(one)[0]


@pytest.mark.parametrize("language", ["en", "ko"])
def test_a_warning_leads_with_the_tag_and_still_asks_for_its_own_word(language):
    one = talk()
    one.read("21", "18.4")
    told = brief(one, language)[0]
    assert told.startswith("21, ")
    assert "accept" in told.lower() or "인정" in told
    full = load_wording(language).spoken(*one.effects[0].says)
    assert len(told) < len(full)


def test_numbers_that_sound_alike_are_spelt_in_few_words_too():
    one = Talk(survey(tree("115")))
    one.read("115", "16.2")
    assert brief(one) == ["115, 16.2, tag 1 1 5, size 1 6."]


@pytest.mark.parametrize("language", ["en", "ko"])
def test_what_a_yes_would_store_is_in_the_few_words(language):
    """Status, stem, a new tree, another unit: nothing that is saved is left out."""
    for parts in ({"status": "cut"}, {"stem": "2", "value": Decimal("20.7")}):
        one = talk()
        one.hear("status" if "status" in parts else "reading", tag="21", **parts)
        full = load_wording(language).spoken(one.effects[0].says[0])
        assert brief(one, language)[0] == full


def test_by_tones_a_warning_is_not_a_mere_question():
    one = talk()
    one.read("21", "18.4")
    parts = tuple(effect for effect in one.effects if isinstance(effect, Say))
    assert tone_alone(parts[0], SpokenTurn(parts)) is Tone.WARN
    one.read("22", "20.7")
    parts = tuple(effect for effect in one.effects if isinstance(effect, Say))
    assert tone_alone(parts[0], SpokenTurn(parts)) is Tone.ASK


def test_few_words_are_said_faster_but_never_slower_than_was_set():
    assert rate_of(Speaking()) == 170
    assert rate_of(Speaking(echo="brief")) == 200
    assert rate_of(Speaking(echo="brief", words_a_minute=220)) == 220
    assert [length_of(Speaking(echo=echo)) for echo in ECHOES] == [
        Length.FULL, Length.BRIEF, Length.BRIEF,
    ]  # fmt: skip


def test_another_length_is_refused(tmp_path):
    path = tmp_path / "survey.toml"
    path.write_text('[speaking]\necho = "loud"\n', encoding="utf-8")
    with pytest.raises(OperatorError, match="full, brief or tones"):
        read_config(path)
