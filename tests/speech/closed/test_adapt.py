"""CTC against the sum over every alignment, gradients against finite differences, and learning."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

pytest.importorskip("ctranslate2")

from callout.core.errors import DeviceError
from callout.speech.closed import tuned
from callout.speech.closed.adapt import Example, Recipe, Taken, Weights, adapted, entered, slope
from callout.speech.closed.closed_engine import HEAD
from callout.speech.closed.ctc import ctc
from callout.speech.closed.head import Head
from callout.speech.closed.splices import Piece, pieces, spliced
from callout.speech.closed.variants import in_noise, variant

WIDTH, HIDDEN, WORDS = 6, 5, 7
EVERY = ("w1", "b1", "w2", "b2", "w3", "b3")
UPPER = ("w2", "b2", "w3", "b3")


def log_softmax(logits: np.ndarray) -> np.ndarray:
    return logits - np.log(np.exp(logits).sum(axis=1, keepdims=True))


def drawn(seed: int, frames: int, words: int) -> np.ndarray:
    return np.random.default_rng(seed).normal(size=(frames, words)) * 2


# ---- the loss ----


def summed(log_probs: np.ndarray, labels: tuple[int, ...]) -> float:
    """Minus the log of the sum over all alignments (Graves et al. 2006, equations 3 and 4)."""
    total = 0.0
    for path in itertools.product(range(log_probs.shape[1]), repeat=len(log_probs)):
        runs = tuple(label for label, _ in itertools.groupby(path) if label)
        if runs == labels:
            total += math.exp(sum(log_probs[at, label] for at, label in enumerate(path)))
    return -math.log(total)


LABELS = [(1,), (1, 2), (2, 2), (1, 2, 1), (3, 3)]


@pytest.mark.parametrize("labels", LABELS)
def test_loss_is_the_sum_over_every_alignment(labels: tuple[int, ...]) -> None:
    for seed, frames in enumerate((3, 4, 5)):
        rows = log_softmax(drawn(seed, frames, 4))
        losses, _ = ctc([rows], [labels])
        assert losses[0] == pytest.approx(summed(rows, labels), rel=1e-9)


def test_utterances_of_unlike_length_do_not_touch_each_other() -> None:
    rows = [log_softmax(drawn(at, 3 + 2 * at, 5)) for at in range(5)]
    together, gradients = ctc(rows, LABELS)
    for at, (one, labels) in enumerate(zip(rows, LABELS, strict=True)):
        alone, gradient = ctc([one], [labels])
        assert together[at] == pytest.approx(alone[0])
        assert gradients[at] == pytest.approx(gradient[0])


def test_gradient_of_the_loss_is_that_of_finite_differences() -> None:
    logits, labels, step = drawn(3, 7, 5), (1, 2, 2), 1e-5
    _, (found,) = ctc([log_softmax(logits)], [labels])
    for at in np.ndindex(logits.shape):
        moved = []
        for way in (step, -step):
            other = logits.copy()
            other[at] += way
            moved.append(ctc([log_softmax(other)], [labels])[0][0])
        assert found[at] == pytest.approx((moved[0] - moved[1]) / (2 * step), abs=1e-5)


def test_too_few_frames_teach_nothing() -> None:
    losses, (gradient,) = ctc([log_softmax(drawn(1, 2, 4))], [(2, 2)])
    assert losses[0] == math.inf
    assert not gradient.any()


# ---- the head's gradient ----


def small_head(seed: int) -> Weights:
    rng = np.random.default_rng(seed)

    def some(*shape: int) -> np.ndarray:
        return (rng.normal(size=shape) * 0.5).astype(np.float32)

    return {
        "mean": some(WIDTH), "scale": np.abs(some(WIDTH)) + 0.5,
        "w1": some(5, WIDTH, HIDDEN), "b1": some(HIDDEN),
        "w2": some(5, HIDDEN, HIDDEN), "b2": some(HIDDEN),
        "w3": some(HIDDEN, WORDS), "b3": some(WORDS),
    }  # fmt: skip


def sound(seed: int, frames: int) -> np.ndarray:
    return np.random.default_rng(seed).normal(size=(frames, WIDTH)).astype(np.float32)


@pytest.mark.parametrize("layers", [EVERY, UPPER])
def test_gradient_of_the_head_is_that_of_finite_differences(layers: tuple[str, ...]) -> None:
    base, weights = small_head(1), small_head(2)
    for name in {"mean", "scale", *EVERY} - set(layers):
        weights[name] = base[name]
    examples = [Example(sound(3, 12), (1, 2, 2)), Example(sound(4, 9), (3,))]
    said, held = entered(base, examples, [sound(5, 8)], layers)
    takes: list[Taken] = said + held
    recipe = Recipe(layers=layers, hold=0.7)
    weights = {name: value.astype(np.float64) for name, value in weights.items()}  # type: ignore[misc]
    _, found = slope(weights, takes, recipe)
    rng, step = np.random.default_rng(6), 1e-2
    for name in layers:
        for _ in range(5):
            at = tuple(int(rng.integers(0, size)) for size in weights[name].shape)
            was, sides = weights[name][at], []
            for way in (step, -step):
                weights[name][at] = was + way
                sides.append(slope(weights, takes, recipe)[0])
            weights[name][at] = was
            differed = (sides[0] - sides[1]) / (2 * step)
            assert found[name][at] == pytest.approx(differed, rel=1e-3, abs=2e-3)


def test_the_head_learns_what_was_said_and_keeps_what_is_held() -> None:
    base = small_head(1)
    kept = {name: value.copy() for name, value in base.items()}
    examples = [Example(sound(seed, 12), (1 + seed % 4, 5)) for seed in range(6)]
    rehearsal = [sound(seed, 12) for seed in range(20, 24)]
    recipe = Recipe(rate=0.02, pull=0, steps=120, dropped=0)
    free, holding = (
        adapted(base, examples, rehearsal, replace(recipe, hold=hold)) for hold in (0.0, 3.0)
    )
    said, held = entered(base, examples, rehearsal, EVERY)
    recipe = Recipe(hold=1.0)
    assert slope(free, said, recipe)[0] < 0.2 * slope(base, said, recipe)[0]
    before, loose, tight = (
        slope(weights, [*said[:1], *held], recipe)[0] - slope(weights, said[:1], recipe)[0]
        for weights in (base, free, holding)
    )
    assert loose - before > 4 * (tight - before) > 0
    assert all((base[name] == kept[name]).all() for name in base)


def test_layers_that_are_not_named_stay_and_progress_is_told() -> None:
    base, told = small_head(1), []
    recipe = Recipe(layers=UPPER, steps=5)
    made = adapted(base, [Example(sound(1, 9), (1,))], (), recipe, lambda *at: told.append(at))
    assert told == [(at, 5) for at in range(1, 6)]
    for name in base:
        assert (made[name] == base[name]).all() == (name not in UPPER)


# ---- the file ----


def test_a_tuned_head_is_a_head_that_says_whose_it_is(tmp_path: Path) -> None:
    weights, words = tuned.weights_of(HEAD)
    weights["b3"] = weights["b3"] + np.float32(0.25)
    about = tuned.About("R.V.", tuned.digest_of(HEAD), 4.5)
    path = tmp_path / "head.npz"
    path.write_bytes(tuned.packed(weights, words, about))
    assert tuned.about(path) == about
    assert tuned.why_not(path) is None
    frames = np.random.default_rng(2).normal(size=(20, 384)).astype(np.float32)
    head, base = Head(path), Head(HEAD)
    assert head.words == base.words
    # 0.25 on every logit changes no probability, so that only half precision is left.
    assert head.log_probs(frames) == pytest.approx(base.log_probs(frames), abs=0.05)


def test_a_tuned_head_of_another_base_or_none_is_refused(tmp_path: Path) -> None:
    weights, words = tuned.weights_of(HEAD)
    path = tmp_path / "head.npz"
    path.write_bytes(tuned.packed(weights, words, tuned.About("R.V.", "ab" * 32, 3.0)))
    assert "another one since" in str(tuned.why_not(path))
    path.write_bytes(b"nothing")
    assert "cannot be read" in str(tuned.why_not(path))
    assert "cannot be read" in str(tuned.why_not(HEAD))
    with pytest.raises(DeviceError, match="cannot be read"):
        tuned.tuned_engine(path)


# ---- the sounds ----


def test_noise_stands_as_far_below_the_voice_as_asked() -> None:
    """A sine's power is half its peak's square; its loud parts (over 5 % of peak) nearly all."""
    tone = (np.sin(np.arange(32_000) * 0.2) * 8_000).astype(np.int16)
    rng = np.random.default_rng(1)
    for kind in ("white", "pink", "wind"):
        rest = in_noise(tone, kind, 10.0, rng).astype(float) - tone
        assert 10 * np.log10(8_000**2 / 2 / np.mean(rest**2)) == pytest.approx(10, abs=0.5)


def test_variants_keep_to_their_bounds_and_can_be_made_again() -> None:
    tone = (np.sin(np.arange(32_000) * 0.2) * 8_000).astype(np.int16)
    for seed in range(10):
        one, again = (variant(tone, np.random.default_rng(seed)) for _ in range(2))
        assert (one == again).all()
        assert 32_000 / 1.09 < len(one) < 32_000 / 0.91
        assert np.abs(one.astype(int)).max() <= 0.95 * 32767 + 1


def burst(seconds: float) -> np.ndarray:
    return (np.sin(np.arange(int(seconds * 16_000)) * 0.3) * 9_000).astype(np.int16)


def test_cut_at_pauses_between_words_and_nowhere_else() -> None:
    pause = np.zeros(3_200, np.int16)
    whole = np.concatenate([pause, burst(0.4), pause, burst(0.8), pause])
    # Three words: one in the first burst, two in the second; frames are 20 ms after 0.3 s of lead.
    spans = [(30, 34, 1.0), (56, 60, 1.0), (75, 79, 1.0)]
    found = pieces(whole, ("one", "two", "six"), spans, 0.3)
    assert [piece.words for piece in found] == [("one",), ("two", "six")]
    assert (np.concatenate([piece.samples for piece in found]) == whole).all()
    assert 0.6 <= len(found[0].samples) / 16_000 <= 0.8
    assert pieces(whole, ("one", "two", "six"), [], 0.3) == [Piece(whole, ("one", "two", "six"))]


def test_a_splice_holds_the_words_of_its_pieces_in_their_order() -> None:
    of = [Piece(np.full(1_600, n + 1, np.int16), (str(n),)) for n in range(5)]
    for seed in range(20):
        made = spliced(of, np.random.default_rng(seed))
        kept = made.samples[made.samples > 0][::1_600]
        assert [str(value - 1) for value in kept] == list(made.words)
        assert 1 <= len(made.words) <= 5
