"""Block letters: text drawn with block characters, large enough to read at arm's length.

Shapes and scaling only; the widget chooses the size. Two fonts: ``TALL`` (5 by 7 pixels, digits)
and ``SMALL`` (3 by 5 pixels, digits and letters).
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Scale:
    """A pixel is ``columns`` wide and ``half_rows`` half rows high (a cell is about 1 by 2)."""

    columns: int
    half_rows: int


Font = dict[str, tuple[str, ...]]


def _font(height: int, shapes: str) -> Font:
    """Glyphs from a picture: lines of ``height`` rows, ``#`` set, each headed by its character."""
    lines = [line.split() for line in shapes.strip().splitlines()]
    glyphs = {name: tuple(rows) for name, *rows in lines}
    assert all(len(rows) == height for rows in glyphs.values())
    return glyphs


TALL = _font(
    7,
    """
0 .###. #...# #...# #...# #...# #...# .###.
1 ..#.. .##.. #.#.. ..#.. ..#.. ..#.. #####
2 .###. #...# ....# ..##. .#... #.... #####
3 .###. #...# ....# ..##. ....# #...# .###.
4 ...#. ..##. .#.#. #..#. ##### ...#. ...#.
5 ##### #.... ####. ....# ....# #...# .###.
6 .###. #.... #.... ####. #...# #...# .###.
7 ##### ....# ...#. ..#.. ..#.. .#... .#...
8 .###. #...# #...# .###. #...# #...# .###.
9 .###. #...# #...# .#### ....# ....# .###.
. . . . . . . #
- .... .... .... #### .... .... ....
? .###. #...# ....# ..##. ..#.. ..... ..#..
N #...# ##..# ##..# #.#.# #..## #..## #...#
O ##### #...# #...# #...# #...# #...# #####
""",
)

SMALL = _font(
    5,
    """
0 ### #.# #.# #.# ###
1 ##. .#. .#. .#. ###
2 ### ..# ### #.. ###
3 ### ..# .## ..# ###
4 #.# #.# ### ..# ..#
5 ### #.. ### ..# ###
6 ### #.. ### #.# ###
7 ### ..# ..# .#. .#.
8 ### #.# ### #.# ###
9 ### #.# ### ..# ###
. . . . . #
- ... ... ### ... ...
/ ..# ..# .#. #.. #..
_ ... ... ... ... ###
? ##. ..# .#. ... .#.
A .#. #.# ### #.# #.#
B ##. #.# ##. #.# ##.
C .## #.. #.. #.. .##
D ##. #.# #.# #.# ##.
E ### #.. ##. #.. ###
F ### #.. ##. #.. #..
G .## #.. #.# #.# .##
H #.# #.# ### #.# #.#
I ### .#. .#. .#. ###
J ..# ..# ..# #.# .#.
K #.# #.# ##. #.# #.#
L #.. #.. #.. #.. ###
M #...# ##.## #.#.# #...# #...#
N #..# ##.# #.## #..# #..#
O .#. #.# #.# #.# .#.
P ##. #.# ##. #.. #..
Q .#. #.# #.# ### .##
R ##. #.# ##. #.# #.#
S .## #.. .#. ..# ##.
T ### .#. .#. .#. .#.
U #.# #.# #.# #.# ###
V #.# #.# #.# #.# .#.
W #...# #...# #.#.# ##.## #...#
X #.# #.# .#. #.# #.#
Y #.# #.# .#. .#. .#.
Z ### ..# .#. #.. ###
""",
) | {" ": ("..",) * 5}


def drawable(text: str, font: Font) -> bool:
    """Whether ``font`` has every character of ``text`` (small letters are drawn as capitals)."""
    return bool(text) and all(character in font for character in text.upper())


def draw(text: str, font: Font, scale: Scale) -> list[str]:
    """``text`` as lines of equal width. Raises KeyError for a character not in ``font``."""
    glyphs = [font[character] for character in text.upper()]
    rows = [".".join(glyph[row] for glyph in glyphs) for row in range(len(font["0"]))]
    wide = ["".join(pixel * scale.columns for pixel in row) for row in rows]
    halves = [row for row in wide for _ in range(scale.half_rows)]
    if len(halves) % 2:
        halves.insert(0, "." * len(wide[0]))
    pairs = zip(halves[::2], halves[1::2], strict=True)
    return [
        "".join(_cell(upper, lower) for upper, lower in zip(*pair, strict=True)) for pair in pairs
    ]


def _cell(upper: str, lower: str) -> str:
    return {"##": "█", "#.": "▀", ".#": "▄", "..": " "}[upper + lower]
