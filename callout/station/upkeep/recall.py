"""Restores a session from its journal.

The journal's events, fed to a fresh session in order, give the same memory bit for bit; roster and
settings take effect from the entry that records them. If this machine kept the state at the newest
seal, only the entries after it are fed.
"""

from __future__ import annotations

from callout.journal.codec import settings_body
from callout.journal.folder import SurveyFolder
from callout.journal.reader import JournalReader
from callout.journal.writer import JournalWriter
from callout.session.state import Memory, Survey
from callout.station.upkeep.kept_state import followed
from callout.survey.check_settings import rules_from, with_rules
from callout.survey.species_table import species_of


def recall(folder: SurveyFolder, writer: JournalWriter, at: str) -> tuple[Survey, Memory]:
    """The survey and the session's memory as of now.

    Settings edited since the last start are recorded first, so that later replays know them.
    """
    config = folder.config()
    with folder.reading() as reader:
        session = followed(reader)
        survey, reached = session.known.survey, reader.last or 0
        if not survey.plots:
            reader.plots()  # the error says what is missing
        wanted = {name: config.of(name) for name in survey.plots}
        rules = rules_from(
            config.other.get("checks", {}),
            survey.plots,
            species_of(folder.path),
            config.listening.join_s,
        )
        measured = {name: plot.settings for name, plot in survey.plots.items()}
        if wanted != measured or rules != survey.rules:
            writer.append(at, "settings", with_rules(settings_body(wanted), rules))
        writer.tell_program(at)
        for entry in reader.entries(after=reached):
            session.take(entry)
    return session.known.survey, session.memory


def remember(reader: JournalReader) -> tuple[Survey, Memory]:
    """Feed every entry of the journal to a fresh session."""
    session = followed(reader, from_start=True)
    return session.known.survey, session.memory
