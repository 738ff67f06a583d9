"""docs/session.md shows the session as it is."""

from __future__ import annotations

from diagram import BEGIN, PAGE, arrows, page

from callout.session.phase import Phase


def test_the_page_is_not_stale():
    text = PAGE.read_text(encoding="utf-8")
    assert BEGIN in text
    assert page(text) == text, "run: python tests/session/diagram.py"


def test_only_a_confirmation_of_what_is_pending_and_an_undo_save():
    saving = {(pair, kind) for pair, kinds in arrows().items() for kind in kinds if "save" in kind}
    assert saving == {
        ((Phase.PENDING, Phase.IDLE), "confirm / save"),
        ((Phase.PENDING, Phase.IDLE), "accept / save"),
    }
