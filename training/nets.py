"""Heads that learn side by side, and their files as the numpy head reads them."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import torch
from numpy.typing import NDArray
from torch import nn

from training.phrases import spoken_automaton, vocabulary
from training.scenes import REJECT

KERNEL = 5


def word_list() -> tuple[str, ...]:
    """The blank, the reject token, then every word."""
    return ("<blank>", REJECT, *vocabulary(spoken_automaton()))


class HeadNets(nn.Module):
    """Heads side by side, each two convolutions and a linear layer over the same frames.

    The tanh form of GELU, as the numpy head has it.
    """

    def __init__(
        self,
        mean: NDArray[np.float32],
        scale: NDArray[np.float32],
        heads: int,
        width: int,
        words: int,
    ):
        super().__init__()
        self.heads = heads
        self.register_buffer("mean", torch.from_numpy(mean))
        self.register_buffer("scale", torch.from_numpy(scale))
        wide, pad = heads * width, KERNEL // 2
        self.first = nn.Conv1d(len(mean), wide, KERNEL, padding=pad)
        self.second = nn.Conv1d(wide, wide, KERNEL, padding=pad, groups=heads)
        self.last = nn.Conv1d(wide, heads * words, 1, groups=heads)
        self.bend = nn.GELU(approximate="tanh")
        self.drop_in, self.drop = nn.Dropout1d(0.1), nn.Dropout(0.25)

    def forward(self, frames: torch.Tensor) -> torch.Tensor:
        """(batch, time, width) to log probabilities (time, batch, heads, words)."""
        hidden = self.drop_in(((frames - self.mean) / self.scale).transpose(1, 2))
        hidden = self.drop(self.bend(self.first(hidden)))
        hidden = self.drop(self.bend(self.second(hidden)))
        logits = self.last(hidden).unflatten(1, (self.heads, -1))
        return torch.log_softmax(logits.permute(3, 0, 1, 2), dim=3)


def save(nets: HeadNets, number: int, path: Path) -> None:
    """One head's weights as the numpy head reads them, in half precision."""
    state = {name: value.numpy() for name, value in nets.state_dict().items()}
    # Words taught only as neighbours of the grammar's take no share when callouts are heard.
    heard = spoken_automaton().words
    kept = [at for at, word in enumerate(word_list()) if at < 2 or word in heard]

    def own(name: str) -> NDArray[np.float32]:
        part: NDArray[np.float32] = np.split(state[name], nets.heads)[number]
        return part

    half = {
        "w1": own("first.weight").transpose(2, 1, 0),
        "b1": own("first.bias"),
        "w2": own("second.weight").transpose(2, 1, 0),
        "b2": own("second.bias"),
        "w3": own("last.weight")[:, :, 0].T[:, kept],
        "b3": own("last.bias")[kept],
    }
    path.parent.mkdir(parents=True, exist_ok=True)
    np.savez_compressed(
        path,
        mean=state["mean"].astype(np.float32),
        scale=state["scale"].astype(np.float32),
        words=np.array(word_list())[kept],
        **{name: value.astype(np.float16) for name, value in half.items()},
    )
