"""Fine-tunes a head to one speaker: CTC on the speaker's own utterances, in numpy.

The encoder stays as it is: its frames are given. What was not said must not drift, so the weights
are pulled to those they came from, and on other frames (``rehearsal``) the head is held to what it
said before. Where the utterances come from and whether the result is kept is decided elsewhere.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from callout.speech.closed.ctc import Labels, ctc
from callout.speech.closed.encoder import Frames
from callout.speech.closed.head import Weights, log_softmax

Array = NDArray[np.float32]
Progress = Callable[[int, int], None]
_BETAS, _TINY = (0.9, 0.99), 1e-8


@dataclass(frozen=True)
class Example:
    """Encoder frames (T, 384) of one utterance, and its words as numbers of the head."""

    frames: Frames
    labels: Labels


@dataclass(frozen=True)
class Recipe:
    """How to learn; the values are those that did best in benchmarks/hearing/tuned.py.

    ``layers`` are the weights that may change; ``pull`` is the share of the way back to the base
    that a weight goes in a step at full rate; ``hold`` weighs the rehearsal against the speaker.
    """

    layers: tuple[str, ...] = ("w1", "b1", "w2", "b2", "w3", "b3")
    steps: int = 300
    batch: int = 16
    rate: float = 1e-3
    pull: float = 0.001
    hold: float = 0.1
    held: int = 8
    dropped: float = 0.1
    seed: int = 1


def adapted(
    base: Weights,
    examples: Sequence[Example],
    rehearsal: Sequence[Frames] = (),
    recipe: Recipe | None = None,
    progress: Progress = lambda done, of: None,
) -> Weights:
    """New weights for the speaker of ``examples``; ``base`` is left as it is.

    ``progress`` is told the steps done and how many there are.
    """
    recipe = recipe or Recipe()
    rng = np.random.default_rng(recipe.seed)
    weights = {name: value.copy() for name, value in base.items()}
    optimiser = _Adam(weights, base, recipe)
    said, held = entered(base, examples, rehearsal, recipe.layers)
    for step in range(recipe.steps):
        chosen = [said[at] for at in _some(rng, len(said), recipe.batch)]
        checked = [held[at] for at in _some(rng, len(held), recipe.held)]
        _, slopes = slope(weights, chosen + checked, recipe, rng)
        # Up quickly, then down to nothing.
        share = min(1.0, (step + 1) / (0.1 * recipe.steps)) * (1 - step / recipe.steps)
        optimiser.step(slopes, share)
        progress(step + 1, recipe.steps)
    return weights


@dataclass(frozen=True)
class Taken:
    """One utterance on its way: what enters the head, or its second layer where the first is

    not to change; and either the words said, or the probabilities (T, V) to be held.
    """

    entered: Array
    labels: Labels = ()
    held: Array | None = None


def entered(
    base: Weights, examples: Sequence[Example], rehearsal: Sequence[Frames], layers: Sequence[str]
) -> tuple[list[Taken], list[Taken]]:
    """What was said and what is held, as it enters the layers that may change."""
    whole = "w1" in layers

    def start(frames: Frames) -> Array:
        normal = np.asarray((frames - base["mean"]) / base["scale"], dtype=np.float32)
        return normal if whole else _Run(base, [normal], whole=True).bent

    said = [Taken(start(one.frames), one.labels) for one in examples]
    held = []
    for frames in rehearsal:
        began = start(frames)
        was = log_softmax(_Run(base, [began], whole).logits()[: len(frames)])
        held.append(Taken(began, held=np.exp(was)))
    return said, held


def slope(
    weights: Weights, takes: Sequence[Taken], recipe: Recipe, rng: np.random.Generator | None = None
) -> tuple[float, Weights]:
    """The loss, and its gradient over the weights of ``recipe.layers``.

    The mean CTC loss of what was said, and ``hold`` times the mean divergence from what is held
    (less a constant). With ``rng`` some hidden values are dropped.
    """
    run = _Run(weights, [one.entered for one in takes], "w1" in recipe.layers)
    logits = run.logits(recipe.dropped if rng is not None else 0.0, rng)
    log_probs = [log_softmax(logits[span]) for span in run.spans]
    said = [at for at, one in enumerate(takes) if one.held is None]
    back, total = np.zeros_like(logits), 0.0
    losses, found = ctc([log_probs[at] for at in said], [takes[at].labels for at in said])
    for at, loss, one in zip(said, losses, found, strict=True):
        back[run.spans[at]] = one / np.float32(len(said))
        total += float(loss) / len(said)
    share = recipe.hold / max(1, len(takes) - len(said))
    for take, span, now in zip(takes, run.spans, log_probs, strict=True):
        if take.held is not None:
            back[span] = np.float32(share) * (np.exp(now) - take.held)
            total -= share * float((take.held * now).sum())
    return total, run.gradient(back, recipe.layers)


class _Run:
    """One pass of a head over utterances laid end to end, quiet between them, and back."""

    def __init__(self, weights: Weights, takes: Sequence[Array], whole: bool) -> None:
        self._weights, self._whole = weights, whole
        gap = max(len(weights["w1"]), len(weights["w2"])) // 2
        self.spans, at = [], 0
        for take in takes:
            self.spans.append(slice(at, at + len(take)))
            at += len(take) + gap
        self._inside = np.zeros((at, 1), dtype=np.float32)
        self._entered = np.zeros((at, takes[0].shape[1]), dtype=np.float32)
        for span, take in zip(self.spans, takes, strict=True):
            self._inside[span] = 1
            self._entered[span] = take

    @property
    def bent(self) -> Array:
        """What leaves the first layer."""
        columns = _columns(self._entered, len(self._weights["w1"]))
        bent, _ = _gelu(columns @ _flat(self._weights["w1"]) + self._weights["b1"])
        return (bent * self._inside)[self.spans[0]]

    def logits(self, dropped: float = 0.0, rng: np.random.Generator | None = None) -> Array:
        """(all frames, words); frames between utterances mean nothing."""
        weights, bent1 = self._weights, self._entered
        if self._whole:
            self._first = _columns(self._entered, len(weights["w1"]))
            bent1, self._slope1 = _gelu(self._first @ _flat(weights["w1"]) + weights["b1"])
        self._keep1 = self._kept(bent1.shape, dropped, rng)
        self._second = _columns(bent1 * self._keep1, len(weights["w2"]))
        bent2, slope2 = _gelu(self._second @ _flat(weights["w2"]) + weights["b2"])
        keep2 = self._kept(bent2.shape, dropped, rng)
        self._slope2, self._last = slope2 * keep2, bent2 * keep2
        return np.asarray(self._last @ weights["w3"] + weights["b3"], dtype=np.float32)

    def gradient(self, back: Array, layers: Sequence[str]) -> Weights:
        """Of the weights in ``layers``, from that of the logits."""
        weights, found = self._weights, {"w3": self._last.T @ back, "b3": back.sum(axis=0)}
        if {"w1", "w2"} & set(layers):
            back = (back @ weights["w3"].T) * self._slope2
            found["w2"] = (self._second.T @ back).reshape(weights["w2"].shape)
            found["b2"] = back.sum(axis=0)
        if self._whole:
            back = _uncolumned(back @ _flat(weights["w2"]).T, len(weights["w2"]))
            back = back * self._slope1 * self._keep1
            found["w1"] = (self._first.T @ back).reshape(weights["w1"].shape)
            found["b1"] = back.sum(axis=0)
        return {name: found[name] for name in layers}

    def _kept(
        self, shape: tuple[int, ...], dropped: float, rng: np.random.Generator | None
    ) -> Array:
        if rng is None or not dropped:
            return self._inside
        kept = rng.random(shape, dtype=np.float32) >= dropped
        return np.asarray(kept * self._inside / np.float32(1 - dropped), dtype=np.float32)


class _Adam:
    """Kingma and Ba 2015, with a pull to the base in place of weight decay."""

    def __init__(self, weights: Weights, base: Weights, recipe: Recipe) -> None:
        self._weights, self._base, self._recipe = weights, base, recipe
        self._mean = {name: np.zeros_like(weights[name]) for name in recipe.layers}
        self._square = {name: np.zeros_like(weights[name]) for name in recipe.layers}
        self._steps = 0

    def step(self, gradients: Weights, share: float) -> None:
        """One step at ``share`` of the full rate."""
        self._steps += 1
        first, second = _BETAS
        rate = self._recipe.rate * share / (1 - first**self._steps)
        for name, gradient_ in gradients.items():
            mean, square = self._mean[name], self._square[name]
            mean += (1 - first) * (gradient_ - mean)
            square += (1 - second) * (gradient_ * gradient_ - square)
            weight = self._weights[name]
            weight -= rate * mean / (np.sqrt(square / (1 - second**self._steps)) + _TINY)
            weight -= self._recipe.pull * share * (weight - self._base[name])


def _some(rng: np.random.Generator, of: int, count: int) -> list[int]:
    return [int(at) for at in rng.choice(of, min(of, count), replace=False)] if of else []


def _flat(weight: Array) -> Array:
    return weight.reshape(-1, weight.shape[-1])


def _columns(values: Array, kernel: int) -> Array:
    """(N, kernel * width): each frame with its neighbours, as a convolution sees them."""
    padded = np.pad(values, ((kernel // 2, kernel // 2), (0, 0)))
    return np.concatenate([padded[at : at + len(values)] for at in range(kernel)], axis=1)


def _uncolumned(columns: Array, kernel: int) -> Array:
    """The gradient of values from that of their columns."""
    length, width = len(columns), columns.shape[1] // kernel
    total = np.zeros((length + kernel - 1, width), dtype=np.float32)
    for at in range(kernel):
        total[at : at + length] += columns[:, at * width : (at + 1) * width]
    return total[kernel // 2 : kernel // 2 + length]


def _gelu(values: Array) -> tuple[Array, Array]:
    """The tanh form, as the head has it, and its slope."""
    inner = np.tanh(np.float32(0.7978845608) * values * (1 + np.float32(0.044715) * values**2))
    slope_inner = np.float32(0.7978845608) * (1 + np.float32(3 * 0.044715) * values**2)
    half = np.float32(0.5)
    return half * values * (1 + inner), half * (1 + inner + values * (1 - inner**2) * slope_inner)
