"""The echo in full, in few words, by tones: what is left out, and what never is. Invented."""

from __future__ import annotations

from decimal import Decimal

import pytest
from journal_tools import survey
from session_tools import Talk, tree
from session_tools import survey as invented
from station_tools import LANGUAGE, ScriptedEngine

import callout.station.post as posts
from callout.core.checking.checks import Rules
from callout.core.errors import OperatorError
from callout.core.events import Say
from callout.sound.sound_files import encode_flac
from callout.sound.voice import Tone
from callout.station.post import Post, Told, Work
from callout.station.speaking.how_much import is_new_to, knows_it, length_of, rate_of, settled
from callout.station.speaking.silent_echo import SilentEcho
from callout.station.speaking.spoken_echo import tone_alone
from callout.station.speaking.spoken_turns import SpokenTurn
from callout.station.station import Station
from callout.station.upkeep.clock import Clock
from callout.survey.config import ECHOES, Speaking, read_config
from callout.wording.language_files import load_wording
from callout.wording.wording import Length


def talk() -> Talk:
    return Talk(invented(tree("21", "20.0"), tree("22", "20.0"), tree("23", "20.0"), rules=Rules()))


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
    one = Talk(invented(tree("115")))
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
    assert rate_of(Speaking()) == 180
    assert rate_of(Speaking(echo="brief")) == 230
    assert rate_of(Speaking(echo="brief", words_a_minute=260)) == 260
    assert [length_of(Speaking(echo=echo)) for echo in ECHOES] == [
        Length.FULL, Length.FULL, Length.BRIEF, Length.BRIEF,
    ]  # fmt: skip


def test_by_default_a_person_hears_all_in_a_first_plot_and_few_words_then():
    first, later, other = ("K1", "2026-06-02"), ("K1", "2026-06-03"), ("K2", "2026-06-02")
    for before, here, echo, is_new in (
        (set(), first, "full", False),
        ({first}, first, "full", False),
        ({first}, other, "brief", True),
        ({first}, later, "brief", True),
        ({first, other}, other, "brief", False),
        ({first, other}, first, "brief", False),
    ):
        assert settled(Speaking(), knows_it(before, here)).echo == echo
        assert is_new_to(before, here) is is_new
    for chosen in ("full", "brief", "tones"):
        assert settled(Speaking(echo=chosen), knows_it({first}, other)).echo == chosen


def test_few_words_begin_in_the_second_plot_of_the_same_person_and_are_told_once(
    tmp_path, monkeypatch
):
    class Recorded(SilentEcho):
        def __init__(self, *_) -> None:
            self.echoes = []

        def speak_by(self, speaking):
            self.echoes.append(speaking.echo)

    monkeypatch.setattr(posts, "make_echo", Recorded)
    folder = survey(tmp_path / "harrow")

    def day(who, *plots):
        clock, told = Clock(), []
        station = Station(folder, LANGUAGE, ScriptedEngine(), encode_flac, clock.now)
        station.watch(lambda done: told.extend(
            one.says[0].key for one in done.effects if isinstance(one, Say)))  # fmt: skip
        post = Post(folder, station, clock, Work(plots[0], who))
        try:
            post.begin(Told())
            for number, plot in enumerate(plots):
                if number:
                    station.open(plot, who)
                tag = next(iter(station.plot.trees))
                station.type(f"{tag} 25.1")
                station.type("accept")
            return post.echo.echoes, told.count("few-words-now")
        finally:
            post.close()
            station.close()

    assert day("R.V.", "K1", "K2") == (["full", "brief"], 1)
    assert day("R.V.", "K2") == (["brief"], 0)
    assert day("M.T.", "K1") == (["full"], 0)


def test_another_length_is_refused(tmp_path):
    path = tmp_path / "survey.toml"
    path.write_text('[speaking]\necho = "loud"\n', encoding="utf-8")
    with pytest.raises(OperatorError, match="full, brief or tones"):
        read_config(path)
