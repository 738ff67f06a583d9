"""Brings a session back to where its journal left it.

The journal's events, fed to a fresh session in order, give the same memory bit for bit; roster
and settings take effect from the entry that records them.
"""

from __future__ import annotations

from callout.journal.check_settings import rules_from, rules_in, with_rules
from callout.journal.codec import settings_body
from callout.journal.folder import SurveyFolder
from callout.journal.reader import JournalReader
from callout.journal.species import species_of
from callout.journal.writer import JournalWriter
from callout.session.state import Memory, Survey
from callout.station.rebuild import steps


def recall(folder: SurveyFolder, writer: JournalWriter, at: str) -> tuple[Survey, Memory]:
    """The survey and the session's memory as of now.

    Settings edited since the last start are recorded first, so that later replays know them.
    """
    with folder.reading() as reader:
        plots = reader.plots()
        config = folder.config()
        wanted = {name: config.of(name) for name in plots}
        rules = rules_from(
            config.other.get("checks", {}),
            plots,
            species_of(folder.path),
            config.listening.join_s,
        )
        latest = reader.latest("settings")
        known = rules_in(latest.content) if latest else {}
        measured = {name: plot.settings for name, plot in plots.items()}
        if wanted != measured or rules != known:
            writer.append(at, "settings", with_rules(settings_body(wanted), rules))
        writer.tell_program(at)
        survey, memory = remember(reader)
    return survey, memory


def remember(reader: JournalReader) -> tuple[Survey, Memory]:
    """Feed every entry of the journal to a fresh session."""
    survey, memory = Survey({}), Memory()
    for done in steps(reader.entries()):
        survey, memory = done.survey, done.memory
    return survey, memory
