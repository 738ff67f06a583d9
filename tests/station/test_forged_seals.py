"""What the honest key signs, what a rollback and a forged tail come to, and seals told by voice.

All invented. The forger has this program and may write the whole folder, but holds no key.
"""

from __future__ import annotations

import json
import shutil
import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest
from journal_tools import survey
from station_tools import ScriptedEngine, at_work, clock, sound

from callout.cli.main import main
from callout.core.damm import checks_out
from callout.journal.folder import SurveyFolder
from callout.journal.writer import entry_hash
from callout.proof.made_seals import made_path
from callout.proof.seals import read_seals, seals_path
from callout.proof.signatures import public_of, read_key
from callout.proof.witness import told as figures
from callout.proof.witness import witness_of
from callout.station.upkeep.sealing import seal_session

Capture = pytest.CaptureFixture[str]


@pytest.fixture
def key(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    path = tmp_path / "home" / "seal.pem"
    monkeypatch.setenv("CALLOUT_KEY", str(path))
    return path


@pytest.fixture
def folder(tmp_path: Path, key: Path) -> SurveyFolder:
    """Three sealed and signed sessions, with sound."""
    made = survey(tmp_path / "harrow")
    assert main(["key", str(made.path), "--who", "R.V."]) == 0
    for number in range(3):
        session(made, number)
    return made


def session(folder: SurveyFolder, number: int) -> tuple[str, str]:
    engine = ScriptedEngine()
    with at_work(folder, engine, clock()) as station:
        station.open("K1", "R.V.")
        engine.next_words = (
            f"tree ninety one twelve point {['one', 'two', 'three', 'four', 'five'][number]}"
        )
        station.hear(sound(number))
        for _ in range(3):
            if station.memory.pending:
                station.press("accept")
        return seal_session(folder, station)


def public(key: Path) -> str:
    return public_of(read_key(key))


def verified(folder: SurveyFolder, capsys: Capture, *more: object) -> tuple[int, str]:
    capsys.readouterr()
    code = main(["verify", str(folder.path), *map(str, more)])
    return code, capsys.readouterr().out


def rewritten(
    folder: SurveyFolder, change: Callable[[int, str, str], str], keep: int = 10**9
) -> None:
    """The first ``keep`` entries with bodies changed, every hash made anew, the tables too."""
    with closing(sqlite3.connect(folder.database)) as database:
        rows = database.execute("SELECT seq, at, kind, body FROM entries ORDER BY seq").fetchall()
        triggers = database.execute(
            "SELECT name, sql FROM sqlite_master WHERE type='trigger'"
        ).fetchall()
        for name, _ in triggers:
            database.execute(f"DROP TRIGGER {name}")
        database.execute("DELETE FROM readings WHERE entry>?", (keep,))
        database.execute("DELETE FROM entries")
        before, last = "0" * 64, None
        for seq, at, kind, body in rows[:keep]:
            content = json.loads(change(seq, kind, body))
            if kind == "sealed":
                content |= {"entries": seq - 1, "hash": before, "before": last}
            text = json.dumps(content, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
            digest = entry_hash(seq, at, kind, text, before)
            database.execute(
                "INSERT INTO entries VALUES (?,?,?,?,?,?)", (seq, at, kind, text, before, digest)
            )
            before, last = digest, [seq, digest] if kind == "sealed" else last
        for _, sql in triggers:
            database.execute(sql)
        database.commit()


def who_forged(seq: int, kind: str, body: str) -> str:
    return body.replace('"source":"voice"', '"source":"typed"') if seq > 4 else body


def forged(folder: SurveyFolder) -> None:
    """Bodies changed from the second session on, chain and tables as they should be."""
    seals = read_seals(seals_path(folder))

    def change(seq: int, kind: str, body: str) -> str:
        if seq <= seals[0].entry or kind != "heard":
            return body
        return body.replace('"words":"tree', '"words":"ah tree')

    rewritten(folder, change)
    with closing(sqlite3.connect(folder.database)) as database:
        database.execute(
            "UPDATE readings SET words='ah ' || words WHERE entry>?", (seals[0].entry,)
        )
        database.commit()
    seals_path(folder).write_text(f"{seals[0].line}\n")


def test_the_honest_key_never_signs_forged_history(
    folder: SurveyFolder, key: Path, capsys: Capture
) -> None:
    forged(folder)
    line, trouble = session(folder, 3)
    assert line == "" and trouble.startswith("not sealed: the journal lacks entry")
    assert "put back from an older copy, or altered" in trouble
    assert main(["verify", str(folder.path), "--seal"]) in (1, 2)
    assert len(read_seals(seals_path(folder))) == 1, "no line was added"
    code, text = verified(folder, capsys, "--signer", public(key))
    assert code != 0, text
    assert main(["key", str(folder.path), "--who", "R.V."]) == 2
    assert "--lost REASON" in capsys.readouterr().err


def test_what_verify_calls_broken_is_not_sealed(folder: SurveyFolder, capsys: Capture) -> None:
    with closing(sqlite3.connect(folder.database)) as database:
        database.execute("UPDATE readings SET value='99.9'")
        database.commit()
    kept = seals_path(folder).read_bytes()
    line, trouble = session(folder, 3)
    assert line == "" and "not sealed: entry" in trouble
    assert seals_path(folder).read_bytes() == kept


def test_a_missing_sound_is_not_sealed_away(folder: SurveyFolder) -> None:
    next((folder.path / "audio").glob("*.flac")).unlink()
    assert "its sound is missing" in session(folder, 3)[1]


def test_a_rollback_is_not_signed_on(folder: SurveyFolder, key: Path, capsys: Capture) -> None:
    """Put back to the first seal, with a tail of the forger's own."""
    first = read_seals(seals_path(folder))[0]
    rewritten(folder, lambda seq, kind, body: body, keep=first.entry)
    seals_path(folder).write_text(f"{first.line}\n")
    code, text = verified(folder, capsys)
    assert code == 0, "inside the folder nothing shows it"
    line, trouble = session(folder, 3)
    assert (line, "was put back from an older copy" in trouble) == ("", True)
    code, text = verified(folder, capsys, "--signer", public(key))
    assert code == 3 and "NOT PROVED" in text
    assert f"up to entry {first.entry} of " in text and "entries after it by nobody" in text


def test_a_copy_put_back_by_its_owner_goes_on_with_a_word_that_stays(
    folder: SurveyFolder, key: Path, capsys: Capture
) -> None:
    first = read_seals(seals_path(folder))[0]
    rewritten(folder, lambda seq, kind, body: body, keep=first.entry)
    seals_path(folder).write_text(f"{first.line}\n")
    command = ["key", str(folder.path), "--who", "R.V."]
    assert main(command) == 2
    assert main([*command, "--lost", "card broke, backup of day 1"]) == 0
    assert session(folder, 3)[1] == ""
    assert verified(folder, capsys, "--signer", public(key))[0] == 0
    with folder.reading() as reader:
        lost = reader.of_kind("signer")[-1].content["lost"]
    assert lost["reason"] == "card broke, backup of day 1" and lost["seal"].count(" ") == 3


def test_a_forged_order_after_the_newest_seal_is_told_and_breaks_strictly(
    folder: SurveyFolder, key: Path, capsys: Capture
) -> None:
    path = next((folder.path / "audio").glob("*.flac"))
    with closing(sqlite3.connect(folder.database)) as database:
        seq, prev = database.execute(
            "SELECT seq, hash FROM entries ORDER BY seq DESC LIMIT 1"
        ).fetchone()
        body = json.dumps(
            {"reason": "wish", "sounds": [path.stem], "who": "R.V."}, separators=(",", ":")
        )
        at = "2026-06-02T19:00:00.000+02:00"
        digest = entry_hash(seq + 1, at, "sound_removed", body, prev)
        database.execute(
            "INSERT INTO entries VALUES (?,?,?,?,?,?)",
            (seq + 1, at, "sound_removed", body, prev, digest),
        )
        database.commit()
    path.unlink()
    code, text = verified(folder, capsys)
    assert code == 0 and f"note: entry {seq + 1}: orders sound to be removed" in text
    assert verified(folder, capsys, "--signer", public(key))[0] == 3
    for more in (["--strict"], ["--strict", "--signer", public(key)]):
        code, text = verified(folder, capsys, *more)
        assert code == 1 and "no seal covers the order" in text, text


def test_an_honest_order_is_sealed_at_once(
    folder: SurveyFolder, key: Path, capsys: Capture
) -> None:
    who = ["--reason", "wish", "--who", "M.O."]
    assert main(["erase", str(folder.path), "--person", "R.V.", *who, "--yes"]) == 0
    code, text = verified(folder, capsys, "--signer", public(key))
    assert code == 0 and "no seal covers" not in text, text


def test_a_seal_without_its_neighbour_is_found(folder: SurveyFolder, capsys: Capture) -> None:
    """Each seal names the one before it, so none can be slipped in or taken out between."""
    with folder.reading() as reader:
        seals = reader.of_kind("sealed")
    named = [item.content["before"] for item in seals]
    assert named == [None, *([item.seq, item.hash] for item in seals[:-1])]
    lines = seals_path(folder).read_text().splitlines()
    seals_path(folder).write_text("\n".join([lines[0], lines[2]]) + "\n")
    code, text = verified(folder, capsys)
    assert code == 1 and "has no line in seals.txt" in text


def test_a_copy_sent_on_day_one_proves_day_one_on_day_three(
    folder: SurveyFolder, tmp_path: Path, capsys: Capture
) -> None:
    lines = seals_path(folder).read_text().splitlines()
    sent = tmp_path / "sent.txt"
    for subset in ([0], [1], [2], [0, 2], [1, 0]):
        sent.write_text("\n".join(lines[at] for at in subset) + "\n")
        code, text = verified(folder, capsys, "--seals", sent)
        newest = max(int(lines[at].split()[0]) for at in subset)
        assert code == 0 and f"witnessed: up to entry {newest} of " in text, text
    assert "4 entries after it by nobody" in text or "entries after it by nobody" in text


def test_a_line_lost_in_a_crash_then_a_key(tmp_path: Path, key: Path, capsys: Capture) -> None:
    made = survey(tmp_path / "harrow")
    session(made, 0)
    seals_path(made).unlink()  # the crash came between the entry and its line
    assert main(["key", str(made.path), "--who", "R.V."]) == 0
    session(made, 1)
    lines = read_seals(seals_path(made))
    assert [bool(line.signature) for line in lines] == [False, True], "the old one is not signed"
    assert verified(made, capsys)[0] == 0
    assert verified(made, capsys, "--signer", public(key))[0] == 0


def test_a_signature_lost_in_a_crash_is_remembered(folder: SurveyFolder, key: Path) -> None:
    lines = seals_path(folder).read_text().splitlines()
    seals_path(folder).write_text("\n".join(lines[:-1]) + "\n")
    assert session(folder, 3)[1] == ""
    assert seals_path(folder).read_text().splitlines()[:3] == lines


def test_a_journal_written_anew_is_not_sealed_by_the_key(
    folder: SurveyFolder, tmp_path: Path, key: Path
) -> None:
    """Even one that names the key: it never sealed that journal."""
    forged = survey(tmp_path / "forged")
    with at_work(forged, None, clock()) as station:
        station.open("K1", "M.O.")
    made = made_path(key).read_bytes()
    with folder.reading() as reader:
        named = reader.of_kind("signer")[0]
    from callout.journal.writer import JournalWriter

    writer = JournalWriter(forged.database)
    writer.append(named.at, "signer", named.content)
    writer.close()
    line, trouble = session(forged, 1)
    assert line == "" and "has never sealed this journal" in trouble
    assert made_path(key).read_bytes() == made


# ---- told by voice ----


def test_a_seal_told_by_voice_witnesses(
    folder: SurveyFolder, tmp_path: Path, capsys: Capture
) -> None:
    code, text = verified(folder, capsys, "--told")
    said = text.splitlines()[-1].removeprefix("to be told: ")
    newest = read_seals(seals_path(folder))[-1]
    assert (code, said) == (0, figures(newest))
    assert len(said.split()) == 7 and all(len(group) == 5 for group in said.split()[1:])
    paper = tmp_path / "paper.txt"
    paper.write_text(f"# told by radio, 2 June\n\n{said}  # M.O.\n")
    code, text = verified(folder, capsys, "--seals", paper)
    assert code == 0 and f"up to entry {newest.entry} of 2026-06-02" in text
    assert "nothing stands after it" in text
    session(folder, 3)
    forged(folder)
    code, text = verified(folder, capsys, "--seals", paper)
    assert code == 1 and "not the entry that was witnessed" in text


def test_figures_follow_from_the_hash_by_the_published_rule(folder: SurveyFolder) -> None:
    # Computed here by hand; the check digit's own example stands in the core's tests.
    seal = read_seals(seals_path(folder))[-1]
    number = int(seal.hash[:32], 16) % 10**24
    plain = [f"{number:024d}"[at : at + 4] for at in range(0, 24, 4)]
    groups = figures(seal).split()
    assert [group[:-1] for group in groups] == [str(seal.entry), *plain]
    assert all(checks_out(f"{place}{group}") for place, group in enumerate(groups))


def test_every_figure_misheard_and_every_group_moved_is_found(folder: SurveyFolder) -> None:
    said = figures(read_seals(seals_path(folder))[-1])
    for at, old in enumerate(said):
        for new in "0123456789":
            if old != " " and new != old:
                with pytest.raises(Exception, match=r"group \d.*heard or written wrongly"):
                    witness_of(said[:at] + new + said[at + 1 :], "paper, line 1")
    groups = said.split()
    for one in range(1, 7):
        for other in range(one + 1, 7):
            moved = list(groups)
            moved[one], moved[other] = moved[other], moved[one]
            if groups[one] != groups[other]:
                with pytest.raises(Exception, match="another's place"):
                    witness_of(" ".join(moved), "paper, line 1")


def test_what_is_no_seal_is_refused_by_its_line(
    folder: SurveyFolder, tmp_path: Path, capsys: Capture
) -> None:
    for text in ("tree 83\n", "12 34\n", "1" * 5000 + " 5\n", "\x00\n", "# nothing\n"):
        paper = tmp_path / "paper.txt"
        paper.write_text(text)
        assert main(["verify", str(folder.path), "--seals", str(paper)]) == 2
        assert "paper.txt" in capsys.readouterr().err


def test_the_tail_cut_off_below_what_was_witnessed(
    folder: SurveyFolder, tmp_path: Path, capsys: Capture
) -> None:
    sent = tmp_path / "sent.txt"
    shutil.copy(seals_path(folder), sent)
    first = read_seals(seals_path(folder))[0]
    rewritten(folder, lambda seq, kind, body: body, keep=first.entry)
    seals_path(folder).write_text(f"{first.line}\n")
    assert verified(folder, capsys)[0] == 0
    code, text = verified(folder, capsys, "--seals", sent)
    assert code == 1 and "the tail is cut off" in text
