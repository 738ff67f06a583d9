"""What is echoed of notes: whose a note is, said before it is kept."""

from __future__ import annotations

from callout.core.events import KeepMemo
from callout.core.saying import Saying, Says, saying
from callout.session.state import Memory


def about(memory: Memory, tag: str | None, shown: str) -> Saying:
    """What a note is about: a tree by its present tag, or the plot."""
    return saying("tree", tag=shown) if tag else saying("plot", plot=memory.plot)


def whose(about_what: Saying) -> Says:
    """Whose note it will be, said before anything is kept."""
    return (saying("note-asked", about=about_what),)


def echoed(about_what: Saying, memo: KeepMemo) -> Says:
    """A typed note that waits for a yes."""
    return saying("note-echo", about=about_what, words=memo.words), saying("confirm-asked")


def dropped(about_what: Saying) -> Saying:
    """A note that was under way is over."""
    return saying("note-dropped", about=about_what)


def kept(about_what: Saying) -> Saying:
    """Said only after the note is on disk."""
    return saying("note-kept", about=about_what)
