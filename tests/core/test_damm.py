"""Damm's check digit: the published example, and what it is to find out, over every short number.

Source: H. M. Damm, thesis, Marburg 2004; its example 572 -> 4. The properties are
those that make the table a totally anti-symmetric quasigroup, checked here from their definition.
"""

from __future__ import annotations

from callout.core.damm import check_digit, checks_out

FIGURES = "0123456789"


def test_the_published_example():
    assert check_digit("572") == "4"
    assert checks_out("5724")
    assert not checks_out("5727")


def test_every_figure_follows_every_number_once():
    """A Latin square whose diagonal is zero: a number's own check digit ends it in 0."""
    for before in FIGURES:
        assert {check_digit(before + figure) for figure in FIGURES} == set(FIGURES)
    assert all(checks_out(str(n) + check_digit(str(n))) for n in range(10_000))


def test_every_wrong_figure_and_every_swap_of_neighbours_is_found():
    for number in range(1_000):
        good = f"{number:03}"
        good += check_digit(good)
        for at, right in enumerate(good):
            for wrong in set(FIGURES) - {right}:
                assert not checks_out(good[:at] + wrong + good[at + 1 :]), good
        for at in range(3):
            swapped = good[:at] + good[at + 1] + good[at] + good[at + 2 :]
            assert checks_out(swapped) == (swapped == good), good
