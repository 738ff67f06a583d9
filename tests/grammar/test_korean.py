"""Korean: its numbers against num2words, its callouts against English's list, and what it refuses.

``num2words`` (a public library, lang="ko") is the outside reference for Sino-Korean numerals. How
figures are read one by one, and the native figures among them, is from memory; num2words' ordinals
confirm the native five to nine. The phrases are ours.
"""

from __future__ import annotations

import random
from decimal import Decimal

import pytest
from num2words import num2words

from callout.core.errors import OperatorError
from callout.core.meaning import Meaning
from callout.core.units import Unit
from callout.grammar.automaton import Automaton
from callout.grammar.parser import meanings_of, parse_words
from callout.grammar.scope import Scope, narrowed_to
from callout.grammar.words import tokens_of
from callout.station.data import load_language

SPECIES = ("소나무", "신갈나무", "red oak")
KOREAN = load_language("ko", SPECIES)
ENGLISH = load_language("en", SPECIES)
SINO = tuple(num2words(figure, lang="ko") for figure in range(10))
NATIVE = ("공", "하나", "둘", "셋", "넷", "다섯", "여섯", "일곱", "여덟", "아홉")
ALL_SIZES = tuple(Decimal(tenths) / 10 for tenths in range(1, 2000))


def read(words: str) -> tuple[Meaning, ...]:
    return parse_words(KOREAN.full, words, Scope()).meanings


def one_by_one(figures: str, words: tuple[str, ...], zero: str) -> str:
    names = {".": "점", "0": zero}
    return " ".join(names.get(figure) or words[int(figure)] for figure in figures)


def sino(number: int | Decimal) -> str:
    return str(num2words(number, lang="ko"))


def is_reading(words: str, tag: str, value: Decimal) -> bool:
    said = [(one.kind, one.tag, one.value, one.unit, one.implied) for one in read(words)]
    return said == [("reading", tag, value, None, False)]


def test_every_tag_to_9999_as_num2words_writes_it():
    wrong = [
        tag
        for tag in range(1, 10_000)
        if not is_reading(f"나무 {sino(tag)} 번 이십사 점 육", str(tag), Decimal("24.6"))
    ]
    assert wrong == []


@pytest.mark.parametrize("joined", [False, True])
def test_every_size_to_199_9_as_num2words_writes_it(joined):
    wrong = []
    for size in ALL_SIZES:
        words = f"나무 {sino(83)} 번 {sino(size)}"
        wrong += (
            [] if is_reading(words.replace(" ", "") if joined else words, "83", size) else [size]
        )
    assert wrong == []


def test_sizes_of_two_and_three_decimals():
    chosen = random.Random(4)
    for _ in range(1_500):
        size = Decimal(chosen.randrange(1, 199_999)) / 1000
        assert is_reading(f"번호 {sino(7)} 번 지름 {sino(size)}", "7", size), size


@pytest.mark.parametrize("words", [SINO, NATIVE])
@pytest.mark.parametrize("zero", ["영", "공"])
def test_figure_by_figure(words, zero):
    for tag in (*range(10), *range(10, 10_000, 7), "007", "0083"):
        said = one_by_one(str(tag), words, zero)
        assert is_reading(f"나무 {said} 번 이십", str(tag), Decimal(20)), said
    for size in ALL_SIZES[9::3]:
        said = one_by_one(str(size), words, zero)
        assert is_reading(f"나무 팔십삼 번 {said}", "83", size), said


def test_native_figures_are_num2words_own_where_it_has_them():
    """Its ordinals stand before a counter, where one to four have a shorter form."""
    for figure in range(5, 10):
        assert num2words(figure, lang="ko", to="ordinal").split() == [NATIVE[figure], "번째"]


def test_tags_and_sizes_together():
    chosen = random.Random(20240605)
    for _ in range(3_000):
        tag, size = chosen.randrange(1, 10_000), chosen.choice(ALL_SIZES)
        gap = chosen.choice(["", "지름 ", "직경 ", "둘레 "])
        assert is_reading(f"나무 {sino(tag)} 번 {gap}{sino(size)}", str(tag), size), (tag, size)


@pytest.mark.parametrize("number", [11, 20, 23, 42, 99])
def test_native_numerals_are_refused_and_not_cut_into_figures(number):
    """ "스물셋" counts trees; a tag or a diameter is not read so (from memory)."""
    native = num2words(number, lang="ko", to="ordinal").removesuffix(" 번째")
    assert read(f"나무 {native} 번 이십사") == ()
    assert read(f"나무 팔십삼 번 {native}") == ()


# ---- everything that English has ----


def emitted(automaton: Automaton, token: str) -> set[str]:
    return {
        emit for ways in automaton.ways for _, emits, _ in ways for emit in emits
        if emit.startswith(token)
    }  # fmt: skip


@pytest.mark.parametrize("token", ["@kind:", "@status:", "@unit:", "@"])
def test_every_kind_of_callout_status_unit_and_slot_of_english_can_be_said(token):
    wanted = emitted(ENGLISH.spoken, token)
    assert len(wanted) >= 3
    assert emitted(KOREAN.spoken, token) == wanted


@pytest.mark.parametrize(
    ("words", "kind", "parts"),
    [
        ("나무 팔십삼 번 이십사 점 육", "reading", {"tag": "83", "value": "24.6"}),
        ("나무 팔십삼번 지름 이십사점육센티", "reading",
         {"tag": "83", "value": "24.6", "unit": "cm", "scale": "diameter"}),
        ("나무 팔십삼 번 둘레 구십", "reading", {"tag": "83", "value": "90", "scale": "girth"}),
        ("나무 팔십삼 번 줄기 이 번 고사", "status",
         {"tag": "83", "stem": "2", "status": "dead_standing"}),
        ("나무 팔십삼 번 줄기 이 번", "tree", {"tag": "83", "stem": "2"}),
        ("측정 높이 사 점 오 피트", "height", {"height_m": "1.3716", "height_unit": "ft"}),
        ("번호 팔 삼 번 이 사 점 육", "reading", {"tag": "83", "value": "24.6"}),
        ("나무 하나 공 둘 번 직경 이 넷 점 오", "reading",
         {"tag": "102", "value": "24.5", "scale": "diameter"}),
        ("나무 팔십삼 번 십 인치", "reading", {"tag": "83", "value": "10", "unit": "in"}),
        ("나무 팔십삼 번 이백사십육 밀리", "reading", {"tag": "83", "value": "246", "unit": "mm"}),
        ("나무 팔십사 아니 팔십삼 번 이십사", "reading", {"tag": "83", "value": "24"}),
        ("나무 팔십삼 번 이십사 점 아니 이십육", "reading", {"tag": "83", "value": "26"}),
        ("나무 팔십삼 번 줄기 이 번 십이 점 삼", "reading",
         {"tag": "83", "value": "12.3", "stem": "2"}),
        ("줄기 둘 번 십이", "reading", {"value": "12", "stem": "2"}),
        ("나무 팔십삼 번", "tree", {"tag": "83"}),
        ("나무 영", "tree", {"tag": "0"}),
        ("이십사 점 육", "size", {"value": "24.6"}),
        ("정정 십팔 점 이", "amend", {"value": "18.2"}),
        ("나무 팔십삼 번 고사", "status", {"tag": "83", "status": "dead_standing"}),
        ("고사 쓰러짐", "status", {"status": "dead_down"}),
        ("살아있음", "status", {"status": "live"}),
        ("못 찾음", "status", {"status": "not_found"}),
        ("새 나무 이백일 번 소나무 십이 점 삼", "new",
         {"tag": "201", "value": "12.3", "species": "소나무"}),
        ("표찰 분실", "retag", {}),
        ("나무 팔십삼 번 표찰 분실 새 번호 삼백일 번", "retag", {"tag": "83", "new_tag": "301"}),
        ("측정 높이 일 점 사 오 미터", "height", {"height_m": "1.45"}),
        ("확인", "confirm", {}), ("인정", "accept", {}), ("아니", "reject", {}),
        ("다시", "repeat", {}), ("되돌리기", "undo", {}), ("건너뛰기", "skip", {}),
        ("취소", "scratch", {}), ("메모", "note", {}), ("남은 나무", "left", {}),
        ("어디", "where", {}), ("이상 무", "well", {}), ("서 있습니다", "well", {}),
        ("조사 완료", "complete", {}),
    ],
)  # fmt: skip
def test_phrases(words, kind, parts):
    (meaning,) = read(words)
    empty = {"tag": None, "value": None, "unit": None}
    assert meaning.as_json() == {"kind": kind, **empty, **parts}


@pytest.mark.parametrize(
    ("words", "kind", "tag", "value"),
    [
        ("83 24.6", "reading", "83", "24.6"), ("나무 83번 24.6", "reading", "83", "24.6"),
        ("나무 83번, 24.6센티", "reading", "83", "24.6"), ("83번24.6", "reading", "83", "24.6"),
        ("A12번 24.6", "reading", "A12", "24.6"), ("나무 A12 벌채", "status", "A12", None),
        ("83번 없음", "status", "83", None), ("24.6cm", "size", None, "24.6"),
        ("새 나무 201 소나무 12.3", "new", "201", "12.3"),
    ],
)  # fmt: skip
def test_figures_typed_with_korean_words(words, kind, tag, value):
    (meaning,) = read(words)
    wanted = Decimal(value) if value else None
    assert (meaning.kind, meaning.tag, meaning.value) == (kind, tag, wanted)


@pytest.mark.parametrize(
    "words",
    [
        "나무", "번", "점 육", "지름", "나무 팔십삼 번 점 오", "나무 팔십삼 이십사 점 육", "십십",
        "나무 팔십삼 번 이십사 점", "확인 확인", "네", "예", "맞아", "새 나무", "나무 이십 삼백 번",
        "백 백", "줄기 이 번", "나무 백공육 번", "만", "나무 팔십삼 번 확인", "83가 24", "밤나무",
        "나무 십하나 번", "24½", "83, .5", "이십사 점 육 점 이", "tree eighty three",
    ],
)  # fmt: skip
def test_no_callout(words):
    try:
        assert read(words) == ()
    except OperatorError as error:
        assert str(error)


def test_no_callout_has_two_meanings():
    """ "번" parts the numbers: whatever is said by the grammar means one thing."""
    chance = random.Random(11)
    for _ in range(4_000):
        state, words = KOREAN.spoken.start, []
        while KOREAN.spoken.ways[state]:
            if state in KOREAN.spoken.finals and chance.random() < 0.2:
                break
            word, _, state = chance.choice(KOREAN.spoken.ways[state])
            words.append(word)
        found = meanings_of(KOREAN.full, tokens_of(" ".join(words)))
        assert len(found) == 1, words


def test_a_plot_hears_its_tags_and_sizes_and_no_other():
    tags = frozenset({"8", "40", "83", "106", "1020"})  # invented
    narrow = narrowed_to(KOREAN.spoken, Scope(tags, largest=Decimal(60), unit=Unit.CENTIMETRE))

    def heard(words: str) -> bool:
        apart = " ".join(words.replace(" ", ""))
        return bool(meanings_of(narrow, tokens_of(apart.replace("나 무", "나무"))))

    for tag in range(1, 1100):
        assert heard(f"나무 {sino(tag)} 번 이십 점 오") == (str(tag) in tags), tag
    for size in ALL_SIZES[9::3]:
        assert heard(f"나무 팔십삼 번 {sino(size)}") == (size < 61), size
