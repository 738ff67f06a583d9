"""The screen of a survey in Korean: its states, nothing English, nothing cut. Invented."""

from __future__ import annotations

import asyncio
import re
from dataclasses import replace

import fake_face as scripted
import pytest
import screenshots
from textual.events import Paste
from textual.geometry import Size

from callout.session.phase import Phase
from callout.station.face import View
from callout.terminal.widgets.reading import laid_out, shown_of
from callout.wording.language_files import english, load_wording

KOREAN = load_wording("ko")
STATES = {
    "시작 중: 입력할 수 있음": View(plot="", who="", unit="", phase=Phase.STARTING, about="숲"),
    "듣는 중": scripted.IDLE,
    "지름?": scripted.NAMED,
    "확인?": scripted.PENDING,
    "살펴보고 나서 인정?": scripted.WARNED,
    "메모: 지금 말하세요": replace(scripted.NAMED, phase=Phase.MEMO),
    "저장됨": scripted.SAVED,
    "받지 않음": scripted.REFUSED,
    "멈춤: F9 = 계속": replace(scripted.IDLE, paused=True),
    "이상: 아래를 보세요": scripted.FAULTY,
}
NAMES = {"Callout", "Quercus", "rubra", "in", "dB", "Enter", "Esc"}


def told(view: View) -> View:
    """``view`` as a Korean station tells it: nothing of it is English but names."""
    return replace(
        view, said="", heard="", engine=view.engine and "K1", change=view.change and "0.4 줄었음",
        recent=tuple(replace(line, told=line.told.replace("dead standing", "고사"))
                     for line in view.recent),
        warnings=view.warnings and ("0.4 줄었음 (7년 동안)",),
        looks=view.looks and ("줄자가 느슨하거나 꼬였습니까? 페인트 선 위입니까?",),
        faults=view.faults and ("마이크 'K1' 방금 사라짐. 다시 연결하세요.",),
    )  # fmt: skip


def english_in(seen: str) -> set[str]:
    """The words in Latin letters that are no names; F4 and the like are keys."""
    return set(re.findall(r"[A-Za-z]{2,}", seen)) - NAMES


def test_every_state_is_told_in_korean_and_whole() -> None:
    face = scripted.FakeFace(told(scripted.IDLE))

    async def main() -> None:
        app = scripted.screen(face, safety=True, language="ko")
        async with app.run_test(size=(80, 24)) as pilot:
            await pilot.pause()
            seen = screenshots.words(app.export_screenshot())
            assert "한쪽 귀는 열어 두세요." in seen and not english_in(seen)
            await pilot.press("escape")
            for state, view in STATES.items():
                face.tell(told(view))
                await pilot.pause()
                seen = screenshots.words(app.export_screenshot())
                assert f"\n{state}" in seen, state
                assert not english_in(seen), state
                assert "F9 멈춤 F7 무음" in seen, "the row of keys is whole"
            await pilot.press("f1")
            await pilot.pause()
            seen = screenshots.words(app.export_screenshot())
            assert english_in(seen) <= {"Page", "Down", "Up", "Ctrl"}
            assert "통과, 남은 나무." in seen and "돌아가려면" in seen
            app.screen.post_message(Paste("나무팔십삼" * 20 + "끝"))
            await pilot.pause()
            assert "나무팔십삼끝" in screenshots.words(app.export_screenshot()), "wide, and its end"

    asyncio.run(main())


@pytest.mark.parametrize("room", [Size(78, 10), Size(38, 6)], ids=str)
def test_the_large_reading_is_the_one_of_the_english_screen(room: Size) -> None:
    for view in (scripted.NAMED, scripted.PENDING, scripted.WARNED, scripted.SAVED):
        large = laid_out(shown_of(view, KOREAN), room)
        assert large == laid_out(shown_of(view, english()), room)
        assert len(large) >= 5


def test_the_korean_screen_looks_as_stored() -> None:
    svg = screenshots.shot(told(scripted.WARNED), (80, 24), language="ko")
    assert screenshots.agrees("korean-80x24", svg)
