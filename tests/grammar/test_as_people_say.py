"""What people say at a stem, against the table that was written before the grammar had it.

Rows are invented; ``benchmarks/as_people_say.py`` says how they are judged. Before, 88 of 308 rows
were understood rightly.
"""

from __future__ import annotations

import in_english
import pytest

from benchmarks.as_people_say import NOT, RIGHT, TABLE, WRONG, Judge, Row, rows

ROWS = rows()
STRANGERS = rows(TABLE.with_name("as_strangers_say.csv"))


@pytest.fixture(scope="module")
def judge() -> Judge:
    return Judge()


@pytest.mark.parametrize(("table", "share"), [(ROWS, 0.95), (STRANGERS, 0.86)])
def test_nearly_all_are_understood_and_none_wrongly(judge, table, share):
    """``STRANGERS`` are 350 rows of a writer who saw nothing of this program, rambling ones too."""
    assert len(table) >= 150
    judged = [judge.judged(row) for row in table]
    assert [one for one in judged if one.verdict == WRONG] == []
    right = sum(one.verdict == RIGHT for one in judged)
    assert right >= share * len(table)


@pytest.mark.parametrize(
    ("moment", "said"),
    [
        # A pause within a number, or a number begun anew without a word for it.
        ("idle", "tree sixty one nineteen um three"),
        ("idle", "tree sixty one two um twelve point three"),
        ("idle", "tree sixty one nineteen point three nineteen point four"),
        ("named", "nineteen uh twenty"),
        ("named", "nineteen and three"),
        ("named", "nineteen or twenty"),
        ("named", "about nineteen"),
        ("named", "nineteen point three it's"),
        # No yes: something was to follow.
        ("pending", "yes so"),
        ("pending", "okay um"),
        ("pending", "so okay"),
        ("pending", "okay and"),
        ("pending", "right so now"),
        ("pending", "yes yes but"),
        ("pending", "okay no wait"),
    ],
)
def test_what_is_left_open_takes_nothing(judge, moment, said):
    verdict = judge.judged(Row("spoken", moment, said, "nothing")).verdict
    assert verdict == RIGHT, judge.judged(Row("spoken", moment, said, "nothing"))


@pytest.mark.parametrize(
    ("moment", "said", "meaning"),
    [
        ("named", "twenty four point six", "size 24.6"),  # no tree 20 of 4.6
        ("idle", "tree sixty one twenty four point six no twenty six", "61 26"),
        ("idle", "tree sixty one nineteen point three no tree sixty two eighteen", "62 18"),
        ("pending", "no um tree sixty two", "62"),
        ("pending", "twenty four point six", "size 24.6"),
        ("idle", "nineteen", "19"),
    ],
)
def test_what_could_be_taken_for_something_else(judge, moment, said, meaning):
    judged = judge.judged(Row("spoken", moment, said, meaning))
    assert judged.verdict == RIGHT, judged


@pytest.mark.parametrize(
    ("said", "told"),
    [
        ("tree sixty one wibble", "Tree 61 was understood, 'wibble' was not: call it again."),
        (
            "tree sixty one nineteen point three or four",
            "Tree 61 diameter 19.3 was understood, 'or four' was not: call it again.",
        ),
        ("61 about 19", "No callout in '61 about 19': say tree, its tag, then the diameter."),
    ],
)
def test_a_failure_tells_what_was_understood_and_takes_nothing(judge, said, told):
    parsed = judge.parsed(Row("spoken", "idle", said, "nothing"))
    assert parsed.meanings == ()
    assert in_english.told(parsed.problem) == told


def test_a_wrong_table_is_told(judge):
    """The judge tells wrong from not understood, so that none wrongly means something."""
    assert judge.judged(Row("typed", "idle", "61 19.3", "61 19.4")).verdict == WRONG
    assert judge.judged(Row("typed", "idle", "61 wibble", "61 19.4")).verdict == NOT
    assert judge.judged(Row("typed", "pending", "yes", "nothing")).verdict == WRONG
