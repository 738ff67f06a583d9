"""Inputs for every decoder, and what must hold of every answer: shared by tests and the long run.

The invariant: a decoder returns a reading or a refusal, in under 50 ms, never raises; and a
reading is right, judged by an oracle that shares no code with the decoders: ``re`` for numbers
in lines, ``struct`` and ``fractions`` for bytes.
"""

from __future__ import annotations

import random
import re
import struct
import time
from collections import Counter
from collections.abc import Callable
from datetime import UTC, datetime
from decimal import Decimal
from fractions import Fraction

from callout.core.errors import OperatorError
from callout.core.units import Scale, Unit
from callout.devices.intake import Intake, Limits
from callout.devices.line_format.lines import LineFormat, Read, read_line
from callout.devices.line_format.numerals import Mark
from callout.devices.line_format.teach import Known, work_out
from callout.devices.line_format.template import PRESETS, compile_template
from callout.devices.measurement import Measurement
from callout.devices.presentation import parse_presentation, read_value

AT = datetime(2026, 5, 4, tzinfo=UTC)
HANG_S = 0.05
PIECES = [
    b"24.6", b"24,6", b"9 5/8", b"9-5/8", b".5", b"1e400", b"NaN", b"inf", b"-3", b"+3", b"0",
    b" ", b"  ", b"\t", b"cm", b"mm", b"in", b"ft", b"m", b'"', b"'", b"CM", b"kg", b"girth",
    b"dia", b"D", b"$", b"!", b"*", b"*5A", b",", b";", b"/", b"-", b".", b"\0", b"\xff", b"\x1b",
    b"XDR,D", b"A83", b"999999999999", b"1" * 40, b"{value}", b"\xd9\xa2", b"1_0", b"0x1F",
]  # fmt: skip
PATTERNS = [
    *PRESETS, "{scale}{value}{unit}", "{tag};{value}{unit}", "{skip},{value} {unit};{skip:2}",
    "[{value:8}|{unit:3}]", "{value}{unit} {scale} {tag}", "#{tag} {value}",
]  # fmt: skip
# A number as the published forms have it, written independently of our own scanner.
NUMBER = re.compile(
    r"\+?(?:(?P<over>\d+)/(?P<under>\d+)|(?P<int>\d+)?[.,](?P<dec>\d+)"
    r"|(?P<whole>\d+)(?:[ -](?P<o>\d+)/(?P<u>\d+))?)"
)
UNITS = {
    "mm": Fraction(1, 1000), "cm": Fraction(1, 100), "m": Fraction(1), "in": Fraction(254, 10000),
    "inch": Fraction(254, 10000), "inches": Fraction(254, 10000), '"': Fraction(254, 10000),
    "ft": Fraction(3048, 10000), "foot": Fraction(3048, 10000), "feet": Fraction(3048, 10000),
    "'": Fraction(3048, 10000),
}  # fmt: skip


def metres(value: Decimal, unit: Unit) -> Fraction:
    return Fraction(value) * UNITS[unit.value]


def numbers_in(text: str) -> set[Fraction]:
    """Every number that could be meant anywhere in ``text``, all readings of it."""
    found: set[Fraction] = set()
    for start in range(len(text)):
        match = NUMBER.match(text, start)
        if match and not (start and text[start - 1].isdigit()):
            parts = match.groupdict()
            if parts["dec"]:
                whole = Fraction(parts["int"] or 0)
                found.add(whole + Fraction(int(parts["dec"]), 10 ** len(parts["dec"])))
            elif parts["under"]:
                if int(parts["under"]):
                    found.add(Fraction(int(parts["over"]), int(parts["under"])))
            else:
                found.add(Fraction(parts["whole"]))
                if parts["u"] and int(parts["u"]):
                    rest = Fraction(int(parts["o"]), int(parts["u"]))
                    found.add(Fraction(parts["whole"]) + rest)
    return found


def check_line(line: bytes, pattern: str, mark: Mark) -> str:
    how = LineFormat(compile_template(pattern), Unit.CENTIMETRE, Scale.DIAMETER, mark)
    read = read_line(line, how)
    if not isinstance(read, Read):
        return read.reason.name
    text = line.decode("ascii")
    assert 0 < metres(read.value, read.unit) <= 60, line
    assert Fraction(read.value) in numbers_in(text), (line, pattern, read)
    assert "e" not in str(read.value).lower(), line
    if "{unit" in how.template.pattern:
        names = [name for name in UNITS if UNITS[name] == UNITS[read.unit.value]]
        assert any(name in text.lower() for name in names), (line, pattern, read)
    if "{checksum}" in how.template.pattern:
        body, _, digits = text.strip()[1:].rpartition("*")
        total = 0
        for letter in body.encode():
            total ^= letter
        assert int(digits[:2], 16) == total, line
    return "read"


INTEGERS = {
    0x04: "<B", 0x06: "<H", 0x08: "<I", 0x0A: "<Q", 0x0C: "<b", 0x0E: "<h", 0x10: "<i", 0x12: "<q"
}  # fmt: skip


def check_value(data: bytes, descriptor: bytes) -> str:
    form = parse_presentation(descriptor)
    if form is None:
        assert len(descriptor) != 7
        return "no descriptor"
    read = read_value(data, form, Scale.DIAMETER)
    if not isinstance(read, Read):
        return read.reason.name
    assert 0 < metres(read.value, read.unit) <= 60
    yards = 3 if form.unit == 0x27A0 else 1
    if form.format in INTEGERS:
        (number,) = struct.unpack(INTEGERS[form.format], data)
        assert Fraction(read.value) == number * Fraction(10) ** form.exponent * yards
    elif form.format in (0x14, 0x15):
        layout = "<f" if form.format == 0x14 else "<d"
        if yards == 1:
            assert struct.pack(layout, float(read.value)) == data
    return "read"


def check_stream(chunks: list[bytes]) -> str:
    """However a stream is cut, the same lines are read from it."""
    how = LineFormat(compile_template("plain"))
    limits = Limits(lines_a_second=10**6, repeat_s=0)
    pieces, whole = Intake("t", how, limits), Intake("t", how, limits)
    one = [taken for chunk in chunks for taken in pieces.stream(chunk, AT, 0.0)]
    all_at_once = whole.stream(b"".join(chunks), AT, 0.0)
    values = [[i.value for i in side if isinstance(i, Measurement)] for side in (one, all_at_once)]
    assert values[0] == values[1], chunks
    assert pieces.refused == whole.refused, chunks
    return "read" if values[0] else "nothing"


def check_teach(lines: list[bytes]) -> str:
    try:
        taught = work_out(lines, Known(Decimal(50), Unit.CENTIMETRE, Scale.GIRTH))
    except OperatorError:
        return "refused"
    for one in taught:
        for read in one.readings:
            girth = metres(read.value, read.unit) * (
                1 if read.scale is Scale.GIRTH else Fraction("3.14159265358979")
            )
            assert abs(girth / Fraction(1, 2) - 1) <= Fraction("0.0151")
    return "read"


def check_pattern(pattern: str) -> str:
    try:
        compile_template(pattern)
    except OperatorError:
        return "refused"
    return "compiled"


def line_of(rng: random.Random) -> bytes:
    """Pieces of real lines, numbers, and now and then plain noise."""
    if rng.random() < 0.1:
        return rng.randbytes(rng.randrange(300))
    if rng.random() < 0.2:
        body = f"WIXDR,D,{rng.randrange(3000)}.{rng.randrange(100)},M,TAPE"
        total = 0
        for letter in body.encode():
            total ^= letter
        return f"${body}*{total ^ (rng.random() < 0.3):02X}".encode()
    pieces = [rng.choice(PIECES) for _ in range(rng.randrange(1, 7))]
    if rng.random() < 0.6:
        pieces.insert(0, b"%d.%d" % (rng.randrange(10**4), rng.randrange(1000)))
    return b"".join(pieces)


def fitting_line(rng: random.Random, pattern: str) -> bytes:
    """A line made for the pattern, and then in half the cases spoilt in one place."""

    def fill(match: re.Match[str]) -> str:
        name, width = match["name"], int(match["width"] or 0)
        text = {
            "value": rng.choice(["24.6", "24,6", "9 5/8", ".5", "5/16", "+3.25", "83", "1,234"]),
            "unit": rng.choice([*UNITS, "CM", "Mm"]),
            "scale": rng.choice(["girth", "DIA", "d", "circ"]),
            "tag": rng.choice(["83", "A-83", "tree_9"]),
            "skip": rng.choice(["", "WIXDR", "ab", "9"]),
            "checksum": "@@",
        }[name]
        if name == "value" and rng.random() < 0.5:
            text = f"{rng.randrange(5000)}{rng.choice(',.')}{rng.randrange(10)}"
        return text[:width].rjust(width) if width else text

    pattern = PRESETS.get(pattern, pattern)
    text = re.sub(r"\{(?P<name>\w+)(:(?P<width>\d+))?\}", fill, pattern)
    total = 0
    for letter in text[1:].partition("*")[0].encode():
        total ^= letter
    line = bytearray(text.replace("@@", f"{total:02X}").encode())
    if rng.random() < 0.5:
        line[rng.randrange(len(line))] = rng.choice(b"0123456789., -/cmxD\x00\xff*$")
    return bytes(line)


# Bytes of a value of each format, from the SIG's names for them.
SIZES = [
    0, 1, 1, 1, 1, 2, 2, 3, 4, 6, 8, 16, 1, 2, 2, 3, 4, 6, 8, 16, 4, 8, 2, 4, 4, 9, 9, 9, 9, 1, 1, 1
]  # fmt: skip


def one_case(rng: random.Random) -> tuple[str, Callable[[], str], object]:
    """A decoder's name, a call of it with random input, and that input."""
    kind = rng.random()
    if kind < 0.5:
        pattern, mark = rng.choice(PATTERNS), rng.choice(list(Mark))
        line = fitting_line(rng, pattern) if rng.random() < 0.6 else line_of(rng)
        return "line", lambda: check_line(line, pattern, mark), (line, pattern, mark)
    if kind < 0.8:
        form = bytes(
            [rng.randrange(0x20), rng.choice([0, 255, 254, 253, rng.randrange(256)]),
             *rng.choice([b"\xa2\x27", b"\x01\x27", b"\xa3\x27", b"\xa0\x27", rng.randbytes(2)]),
             1, 0, 0][: 7 if rng.random() < 0.95 else rng.randrange(7)]
        )  # fmt: skip
        fitting = form and rng.random() < 0.8
        data = rng.randbytes(SIZES[form[0]] if fitting else rng.randrange(20))
        if rng.random() < 0.6:
            data = data[:2] + b"\0" * (len(data) - 2)
        if form[:1] in (b"\x14", b"\x15") and rng.random() < 0.8:
            data = struct.pack("<f" if form[0] == 0x14 else "<d", rng.randrange(10**5) / 1000)
        return "value", lambda: check_value(data, form), (data, form)
    if kind < 0.9:
        ends = [b"\n", b"\r\n", b"\r", b"\0", b""]
        chunks = [
            (fitting_line(rng, "plain") if rng.random() < 0.7 else line_of(rng)) + rng.choice(ends)
            for _ in range(rng.randrange(1, 5))
        ]
        return "stream", lambda: check_stream(chunks), chunks
    if kind < 0.95:
        lines = [line_of(rng)] * 3 if rng.random() < 0.7 else [line_of(rng) for _ in range(3)]
        if rng.random() < 0.3:
            lines = [rng.choice([b"50.%d cm", b"500.%d", b"a,15.9%d,cm"]) % rng.randrange(9)] * 3
        return "teach", lambda: check_teach(lines), lines
    pattern = "".join(
        rng.choice(["{value}", "{unit}", "{skip}", "{tag}", "{scale}", "{checksum}", "{value:3}",
                    "{", "}", "{{", "$", "*", ",", " ", "x", "{skip:2}", "{unit:0}"])
        for _ in range(rng.randrange(8))
    )  # fmt: skip
    return "pattern", lambda: check_pattern(pattern), pattern


def timed(call: Callable[[], str]) -> tuple[str, float]:
    """The answer, and how many seconds of processor time it took."""
    begun = time.thread_time()
    return call(), time.thread_time() - begun


def fuzz(count: int, seed: int) -> tuple[Counter[tuple[str, str]], float]:
    """Run ``count`` cases; how each went, and the slowest in seconds of processor time."""
    rng, outcomes, slowest = random.Random(seed), Counter[tuple[str, str]](), 0.0
    for _ in range(count):
        name, call, shown = one_case(rng)
        try:
            outcome, spent = timed(call)
            if spent >= HANG_S:  # once more: a collection of garbage may have fallen into it
                spent = min(spent, timed(call)[1])
        except Exception as error:
            raise AssertionError(f"{name} with {shown!r}: {error!r}") from error
        outcomes[name, outcome] += 1
        slowest = max(slowest, spent)
        assert spent < HANG_S, f"{name} took {spent * 1000:.0f} ms for {shown!r}"
    return outcomes, slowest
