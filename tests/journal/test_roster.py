"""Roster CSV: what is taken, and that a bad file is refused whole with every bad line named.

The quoting rules are those of RFC 4180; dates are ISO 8601; all trees are invented.
"""

from __future__ import annotations

import csv
import io
import re
from datetime import date
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from callout.core.errors import OperatorError, StorageError
from callout.core.model import Tree
from callout.core.units import Unit
from callout.grammar.automaton import Automaton
from callout.grammar.language import read_language
from callout.grammar.parser import parse_words
from callout.grammar.scope import Scope
from callout.grammar.words import is_tag
from callout.survey.roster import RosterError, parse_roster, read_roster

ENGLISH = Path(__file__).parents[2] / "grammars" / "en.jsgf"
HEAD = "plot,tag,species,date,value,unit\n"
GOOD = HEAD + "K1,83,red oak,2021-07-08,25.0,in\n"


def parsed(text: str) -> tuple[Tree, ...]:
    return parse_roster(text, "trees.csv", {"K1": Unit.INCH}, Unit.CENTIMETRE)


def read(path: Path, data: bytes) -> tuple[Tree, ...]:
    path.write_bytes(data)
    return read_roster(path, {"K1": Unit.INCH}, Unit.CENTIMETRE)


@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"], ids=["plain", "byte-order mark"])
@pytest.mark.parametrize("ending", ["\n", "\r\n", "\r"])
def test_utf8_with_any_line_ending(tmp_path: Path, mark: bytes, ending: str) -> None:
    (tree,) = read(tmp_path / "trees.csv", mark + GOOD.replace("\n", ending).encode())
    assert (tree.plot, tree.tag, tree.species) == ("K1", "83", "red oak")
    assert tree.last is not None
    assert (tree.last.on, tree.last.value) == (date(2021, 7, 8), Decimal("25.0"))
    assert str(tree.last.value) == "25.0", "the trailing zero is the tape's precision"


@pytest.mark.parametrize("code", ["utf-16", "utf-16-le", "utf-16-be", "utf-32", "cp1252"])
@pytest.mark.parametrize("separator", [",", ";", "\t", "|"])
def test_any_usual_encoding_and_separator(tmp_path: Path, code: str, separator: str) -> None:
    text = GOOD.replace("red oak", "chêne").replace(",", separator)
    (tree,) = read(tmp_path / "trees.csv", text.encode(code))
    assert (tree.tag, tree.species, str(tree.past[0].value)) == ("83", "chêne", "25.0")


def test_zero_bytes_that_are_no_text_are_refused(tmp_path: Path) -> None:
    with pytest.raises(OperatorError, match="CSV UTF-8"):
        read(tmp_path / "trees.csv", GOOD.encode() + b"\0\0")


def test_decimal_commas_are_read_and_doubtful_ones_asked_about() -> None:
    head = "plot;tag;date;value\n"
    one, two = parsed(head + "K1;1;2021-07-08;24,6\nK1;2;2021-07-08;31\n")
    assert [str(tree.past[0].value) for tree in (one, two)] == ["24.6", "31"]
    with pytest.raises(OperatorError, match=r"'1,234' a decimal comma, or thousands"):
        parsed(head + "K1;1;2021-07-08;1,234\n")
    with pytest.raises(RosterError, match="line 3"):
        parsed(head + "K1;1;2021-07-08;24.6\nK1;2;2021-07-08;31,2\n")


def test_every_bad_row_is_listed_with_its_line() -> None:
    rows = [
        "K1,83,red oak,2021-07-08,25.0,in",  # line 2, good
        "K1,83,red oak,2021-07-08,25.0,in",  # 3 twice
        "K1,84,red oak,2021-07-08,-3,in",  # 4 negative
        "K1,85,red oak,2021-07-08,wide,in",  # 5 no number
        "K1,86,red oak,08/07/2021,25.0,in",  # 6 bad date
        "K1,87,red oak,2021-02-30,25.0,in",  # 7 no such day
        "K1,88,red oak,2021-07-08,0,in",  # 8 zero
        "K1,89,red oak,2021-07-08,25.0,furlong",  # 9 unit
        ",90,red oak",  # 10 no plot
        "K1,,red oak",  # 11 no tag
        "K1,9 1,red oak",  # 12 tag with a space
        "K1,92,red oak,2021-07-08,25.0,in,more",  # 13 too many cells
        "K1,93,red oak,,25.0,in",  # 14 no date
        "K1,94,red oak,2021-07-08,,in",  # 15 no value
        "K1,95,red oak,2021-07-08,NaN,in",  # 16
        "K1,96,red oak,2021-07-08,inf,in",  # 17
        'K1,97,"a\nname over two lines",2021-07-08,25.0,in',  # 18 and 19, good
        'K1,98,red oak,2021-07-08,"24,6",in',  # 20 decimal comma
    ]
    with pytest.raises(RosterError) as refused:
        parsed(HEAD + "\n".join(rows) + "\n")
    told = str(refused.value)
    bad = [3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15, 16, 17, 20]
    named = [
        int(part.split(":")[0])
        for part in told.split("line ")[1:]
        if part[0].isdigit() and ":" in part[:4]
    ]
    assert named == bad, told
    assert f"{len(bad)} rows cannot be used" in told
    assert "\n" not in told, "one line for people and logs"
    for value in ("-3", "wide", "08/07/2021", "2021-02-30", "furlong", "9 1", "at line 2", "24,6"):
        assert value in told


def test_a_long_list_of_faults_is_counted_whole() -> None:
    with pytest.raises(RosterError, match=r"120 rows cannot be used.*and 70 more$"):
        parsed(HEAD + "".join(f"K1,{n},oak,2021-07-08,bad,in\n" for n in range(120)))


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "is empty"),
        ("\n", "is empty"),
        (HEAD, "names no trees"),
        (HEAD + "\n,,,\n", "names no trees"),
        ("plot,species\nK1,oak\n", "no column 'tag' in line 1, which names plot, species"),
        ("Parcelle;Arbre\nK1;8\n", "by 'callout import', which asks"),
        ("tag,species\n83,oak\n", "no column 'plot'"),
        (
            "plot,tag,date,diameter\nK1,83,2021-06-01,24\n",
            "a column 'date', but earlier measurements need",
        ),
        ("plot,tag,tag\nK1,1,2\n", "column 'tag' stands twice"),
        ("plot,tag,crown,crown\nK1,1,thin,sound\n", "column 'crown' stands twice"),
        ("plot,tag,\nK1,1,thin\n", "'thin' stands in column 3, which has no name"),
        ("plot,tag,value\nK1,1,3\n", "need both 'date' and 'value'"),
        ("plot,tag,date2\nK1,1,2021-07-08\n", "need both 'date' and 'value'"),
        (HEAD + 'K1,"83,oak\n', "not CSV"),
        (HEAD + 'K1,"83"x,oak\n', "not CSV"),
    ],
)
def test_files_that_are_no_roster(text: str, says: str) -> None:
    with pytest.raises(OperatorError) as refused:
        parsed(text)
    assert says in str(refused.value)


def test_no_file_no_roster(tmp_path: Path) -> None:
    for path in (tmp_path, tmp_path / "none.csv"):
        with pytest.raises((OperatorError, StorageError), match="no roster"):
            read_roster(path, {}, Unit.CENTIMETRE)


def test_unknown_columns_are_kept_and_short_rows_are_blank_at_the_end() -> None:
    one, two = parsed("Plot, TAG ,Crown class,moss\nK1,a7,thin, yes \nK1,8\n")
    assert one.tag == "A7"
    assert dict(one.extra) == {"Crown class": "thin", "moss": "yes"}
    assert (two.tag, dict(two.extra), two.past) == ("8", {}, ())


def test_any_number_of_earlier_measurements_in_order_of_date() -> None:
    (tree,) = parsed(
        "plot,tag,date,value,unit,date2,value2,unit2,date_3,value_3\n"
        "K2,5,2021-07-08,25.0,cm,2016-07-12,241,mm,2011-07-03,23.0\n"
    )
    assert [(past.on.year, past.value, past.unit) for past in tree.past] == [
        (2011, Decimal("23.0"), Unit.CENTIMETRE),
        (2016, Decimal("241"), Unit.MILLIMETRE),
        (2021, Decimal("25.0"), Unit.CENTIMETRE),
    ]


def test_a_size_without_a_unit_is_in_its_plots_unit() -> None:
    one, two = parsed("plot,tag,date,value\nK1,1,2021-07-08,9.8\nK2,1,2021-07-08,24.9\n")
    assert [tree.past[0].unit for tree in (one, two)] == [Unit.INCH, Unit.CENTIMETRE]


def test_the_same_tag_in_two_plots_is_two_trees_and_case_makes_no_other() -> None:
    assert len(parsed("plot,tag\nK1,7\nK2,7\n")) == 2
    with pytest.raises(RosterError, match="line 3: tag A7 is in plot K1 at line 2 too"):
        parsed("plot,tag\nK1,a7\nK1,A7\n")


@given(
    species=st.text(st.characters(codec="utf-8", exclude_characters="\0"), max_size=30),
    value=st.decimals("0.004", "750", allow_nan=False, allow_infinity=False, places=3),
    on=st.dates(date(1700, 1, 1), date(2200, 12, 31)),
)
def test_what_a_csv_library_writes_is_read_back(species: str, value: Decimal, on: date) -> None:
    # The reference is Python's own csv writer, in RFC 4180's dialect.
    text = io.StringIO(newline="")
    writer = csv.writer(text)
    writer.writerow(["plot", "tag", "species", "date", "value", "unit"])
    writer.writerow(["K1", "83", species, on.isoformat(), str(value), "in"])
    (tree,) = parsed(text.getvalue())
    assert tree.species == species.strip()
    assert (tree.past[0].on, str(tree.past[0].value)) == (on, str(value))


@pytest.mark.parametrize(
    ("told", "ours"),
    [
        ("Dead", "dead"), ("dead_standing", "dead standing"), ("Standing  dead", "dead standing"),
        ("DEAD-DOWN", "dead down"), ("felled", "cut"), ("alive", "live"), ("", ""),
    ],
)  # fmt: skip
def test_a_status_is_told_in_our_own_words(told: str, ours: str) -> None:
    (tree,) = parsed(f"plot,tag,Status\nK1,7,{told}\n")
    assert tree.extra.get("Status", "") == ours


@pytest.mark.parametrize("told", ["kaput", "D", "L", "0", "dead?"])
def test_a_status_that_is_not_known_is_refused_with_its_row(told: str) -> None:
    with pytest.raises(RosterError, match=rf"line 3: status '{re.escape(told)}' .*dead standing"):
        parsed(f"plot,tag,status\nK1,7,live\nK1,8,{told}\n")


@pytest.mark.parametrize("tag", ["AB", "TREE1", "1-2", "12in", "8.3", "A 1", "٣", "", "9" * 301])
def test_a_tag_that_cannot_be_called_is_refused(tag: str) -> None:
    with pytest.raises(RosterError, match="cannot be called"):
        parsed(f"plot,tag\nK1,{tag}\n")


@pytest.fixture(scope="module")
def typed() -> Automaton:
    return read_language("en", ENGLISH.read_text(encoding="utf-8")).full


@pytest.mark.parametrize("tag", ["83", "007", "A12", "A-12", "b-3c", "12-A", "1234567890123"])
def test_every_tag_that_can_be_typed_is_taken(tag: str, typed: Automaton) -> None:
    (tree,) = parsed(f"plot,tag\nK1,{tag}\n")
    assert tree.tag == tag.upper()
    (meant,) = parse_words(typed, f"{tag} 24.6", Scope()).meanings
    assert (meant.tag, str(meant.value)) == (tree.tag, "24.6")


@given(tag=st.text("aAbZ0189-. ,n", min_size=1, max_size=6))
def test_a_tag_is_taken_just_where_it_can_be_typed(tag: str, typed: Automaton) -> None:
    """Held against the grammar itself, which reads the whole callout."""
    try:
        meant = parse_words(typed, f"{tag} alive", Scope()).meanings
    except OperatorError:
        meant = ()
    assert is_tag(tag) == ([one.tag for one in meant] == [tag.upper()])


@pytest.mark.parametrize(
    ("told", "kept"), [("1.3", "1.3"), ("4.5 ft", "1.3716"), ("137cm", "1.37"), ("2.00 m", "2")]
)
def test_heights_with_their_unit(told: str, kept: str) -> None:
    (tree,) = parsed(f"plot,tag,measured_at_m\nK1,7,{told}\n")
    assert tree.extra["measured_at_m"] == kept


def test_a_height_out_of_reach_is_refused_with_its_row() -> None:
    with pytest.raises(RosterError, match=r"line 2: measured_at_m: '4\.5' is out of.*4\.5 ft"):
        parsed("plot,tag,measured_at_m\nK1,7,4.5\n")


def test_dates_that_end_with_the_year_want_their_order_told() -> None:
    text = HEAD + "K1,83,oak,03/07/2021,25.0,in\nK1,84,oak,04/05/2021,25.0,in\n"
    with pytest.raises(OperatorError, match=r"'03/07/2021' \(line 2\).*--dates d-m-y.*both"):
        parsed(text)
    (tree, _) = parse_roster(text, "trees.csv", {}, Unit.INCH, "d-m-y")
    assert tree.last is not None
    assert tree.last.on == date(2021, 7, 3)


def test_dates_written_in_two_ways_are_refused_with_their_rows() -> None:
    text = HEAD + "K1,83,oak,03/07/2021,25.0,in\nK1,84,oak,2021-07-14,25.0,in\n"
    with pytest.raises(RosterError, match="line 2: date '03/07/2021': the year comes last"):
        parsed(text)
    with pytest.raises(RosterError, match="line 3: date '2021-07-14': the year comes first"):
        parse_roster(text, "trees.csv", {}, Unit.INCH, "d-m-y")


@pytest.mark.parametrize(("value", "unit"), [("2000", "cm"), ("0.05", "mm"), ("800", "in")])
def test_a_past_size_that_no_tree_has_is_refused_with_its_row(value: str, unit: str) -> None:
    with pytest.raises(RosterError, match=f"line 2: value '{value}' in {unit} is no tree's size"):
        parsed(HEAD + f"K1,83,oak,2021-07-08,{value},{unit}\n")
