"""Which tests are asked about which modules by ``benchmarks/mutation.py``, the quick ones first.

Lists only. A test that takes long and sees what others see already is left out, with a remark.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

Tests = tuple[str, ...]


@dataclass(frozen=True)
class Area:
    """Modules that are changed, and the tests that should notice.

    ``own`` names, by module, the tests that are about it: they are asked first. Then stage after
    stage is, until one notices; ``enough`` names modules for which fewer stages are.
    """

    modules: Tests
    stages: tuple[Tests, ...]
    own: Mapping[str, Tests] = field(default_factory=dict)
    enough: Mapping[str, int] = field(default_factory=dict)

    def asked(self, module: str) -> tuple[Tests, ...]:
        """The stages for a mutant of ``module`` (its file's name), no test twice."""
        own = self.own.get(module, ())
        stages = self.stages[: self.enough.get(module, len(self.stages))]
        rest = (tuple(test for test in stage if test not in own) for stage in stages)
        return tuple(stage for stage in (own, *rest) if stage)


def _files(folder: str, names: str) -> Tests:
    return tuple(f"tests/{folder}/test_{name}.py" for name in names.split())


_VALUES = _files("core", "values_stay")
_INCHES = "tests/session/test_inches_stay.py::test_"
AREAS = {
    "units": Area(("callout/core/units.py",), (_files("core", "units rounding"),)),
    "rounding": Area(("callout/core/rounding.py",), (_files("core", "rounding units"),)),
    "session": Area(
        ("callout/session",),
        (
            (
                *_files(
                    "session", "rules told_of_which edges accept tags walk walk_places presses"
                ),
                *_files("session", "doubts makes_no_sense first_edition heard_unsurely"),
                *_files("session", "tape_of_the_day beside_the_work asides"),
                *_files("session", "echo_words between_plots blind height"),
                *_files("adversary", "answers_late"),
                *_VALUES,
            ),
            (
                *_files("session", "diagram replay any_dialogue checks_first"),
                *_files("adversary", "careful_person"),
            ),
            # The rest of that file asks screens and exports as well, which takes long.
            (
                f"{_INCHES}nothing_said_or_saved_is_in_centimetres",
                f"{_INCHES}the_echo_calls_back_the_very_figures_and_never_those_of_the_other_unit",
            ),
        ),
        {
            "echo.py": _files("session", "echo_words"),
            "doubts.py": _files("session", "doubts"),
            "sense.py": _files("session", "makes_no_sense doubts"),
            "draft.py": _files("session", "rules edges accept height tape_of_the_day"),
            "presses.py": _files("session", "presses"),
            "note_echo.py": _files("session", "rules edges"),
            "asides.py": _files("session", "asides beside_the_work"),
            "numbers.py": _files("session", "beside_the_work asides rules"),
            "saving.py": _files("session", "rules edges accept first_edition"),
            "calls.py": _files("session", "rules edges makes_no_sense first_edition"),
            "propose.py": _files("session", "rules makes_no_sense"),
            "notes.py": (*_files("session", "rules edges"), *_files("adversary", "answers_late")),
            "walk.py": _files("session", "walk walk_places"),
            "tags.py": _files("session", "tags edges between_plots"),
        },
    ),
    # Not asked: test_every_number and test_korean, a minute of numerals, of which others draw.
    "grammar": Area(
        ("callout/grammar",),
        (
            (
                *_files("grammar", "phrases words_apart jsgf_format scope_edges phrase_book"),
                *_VALUES,
            ),
            _files("grammar", "scope nothing_unsaid"),
        ),
        {
            "jsgf.py": _files("grammar", "jsgf_format"),
            "automaton.py": _files("grammar", "jsgf_format scope_edges"),
            "compiling.py": _files("grammar", "jsgf_format scope_edges"),
            "scope.py": _files("grammar", "scope_edges"),
            "parser.py": _files("grammar", "words_apart"),
            "words.py": _files("grammar", "words_apart"),
            "language.py": _files("grammar", "words_apart"),
            "phrases.py": (*_files("grammar", "phrase_book"), *_VALUES),
        },
        # The last stage takes ten seconds and is about what is heard and meant.
        {"jsgf.py": 1, "language.py": 1, "phrases.py": 1},
    ),
}
