"""From clips to heads: examples through the frozen encoder on every core, then CTC in torch.

Uses a GPU where there is one; without one the same steps take longer. One head is trained on
everything, and one for each person left out, for honest figures. No synthesis here.
"""

from __future__ import annotations

import multiprocessing
import os
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import torch
from numpy.typing import NDArray
from torch import nn

from training.clips import read
from training.people import SPEAKERS
from training.phrases import spoken_automaton, vocabulary
from training.scenes import REJECT, Library, example
from training.synthesisers import UNSEEN

KERNEL, BATCH = 5, 96
FRAMES_AT_MOST = 640


@dataclass(frozen=True)
class Encoded:
    """Encoder frames (T, 384) in half precision, the words as numbers, the person in it."""

    frames: NDArray[np.float16]
    labels: NDArray[np.int64]
    person: str


def word_list() -> tuple[str, ...]:
    """The blank, the reject token, then every word."""
    return ("<blank>", REJECT, *vocabulary(spoken_automaton()))


def library_of(folder: Path) -> Library:
    """The clips kept in ``folder``, the unseen voices left out."""
    synthetic, recorded = [], []
    for path in sorted(folder.glob("*.ogg")):
        if path.stem in ("people", "prompts"):
            recorded += read(path)
        elif path.stem not in UNSEEN:
            synthetic += read(path)
    return Library.of(synthetic, recorded, frozenset(word_list()[2:]))


_state: dict[str, object] = {}


def _prepare(clips: Path, model: Path | None) -> None:
    from callout.speech.closed.encoder import Encoder

    _state["library"] = library_of(clips)
    _state["encoder"] = Encoder(model, threads=1)
    _state["index"] = {word: at for at, word in enumerate(word_list())}


def _encode(job: tuple[int, int]) -> Encoded:
    seed, number = job
    one = example(_state["library"], seed, number)  # type: ignore[arg-type]
    frames = _state["encoder"].encode(one.samples)  # type: ignore[attr-defined]
    index = _state["index"]
    labels = np.array([index[word] for word in one.words], dtype=np.int64)  # type: ignore[index]
    return Encoded(frames.astype(np.float16), labels, one.person)


def encode_examples(
    clips: Path, count: int, seed: int, processes: int, model: Path | None = None
) -> Pack:
    """``count`` examples, encoded."""
    os.environ["OMP_NUM_THREADS"] = "1"
    context = multiprocessing.get_context("spawn")
    began, found = time.monotonic(), []
    with context.Pool(processes, _prepare, (clips, model)) as pool:
        jobs = [(seed, number) for number in range(count)]
        for one in pool.imap(_encode, jobs, chunksize=64):
            if len(one.frames) <= FRAMES_AT_MOST:
                found.append(one)
            if len(found) % 4000 == 0:
                print(f"encoded {len(found)}, {time.monotonic() - began:.0f} s", flush=True)
    return Pack.of(found)


@dataclass(frozen=True)
class Pack:
    """Examples end to end: frames (all, 384) in half precision, labels, and where each begins."""

    frames: NDArray[np.float16]
    labels: NDArray[np.int64]
    frame_at: NDArray[np.int64]
    label_at: NDArray[np.int64]
    persons: tuple[str, ...]

    @classmethod
    def of(cls, takes: Sequence[Encoded]) -> Pack:
        """Put together; the places have one more entry than there are examples."""
        return cls(
            np.concatenate([take.frames for take in takes]),
            np.concatenate([take.labels for take in takes]),
            np.cumsum([0, *(len(take.frames) for take in takes)]),
            np.cumsum([0, *(len(take.labels) for take in takes)]),
            tuple(take.person for take in takes),
        )


class HeadNet(nn.Module):
    """Two convolutions and a linear layer; the tanh form of GELU, as the numpy head has it."""

    def __init__(
        self, mean: NDArray[np.float32], scale: NDArray[np.float32], words: int, width: int
    ):
        super().__init__()
        self.register_buffer("mean", torch.from_numpy(mean))
        self.register_buffer("scale", torch.from_numpy(scale))
        self.first = nn.Conv1d(len(mean), width, KERNEL, padding=KERNEL // 2)
        self.second = nn.Conv1d(width, width, KERNEL, padding=KERNEL // 2)
        self.last = nn.Linear(width, words)
        self.bend = nn.GELU(approximate="tanh")
        self.drop_in, self.drop = nn.Dropout1d(0.1), nn.Dropout(0.25)

    def forward(self, frames: torch.Tensor) -> torch.Tensor:
        """(batch, time, 384) to log probabilities (time, batch, words)."""
        hidden = self.drop_in(((frames - self.mean) / self.scale).transpose(1, 2))
        hidden = self.drop(self.bend(self.first(hidden)))
        hidden = self.drop(self.bend(self.second(hidden)))
        return torch.log_softmax(self.last(hidden.transpose(1, 2)), dim=2).transpose(0, 1)


def train(pack: Pack, without: str, width: int, epochs: int, seed: int = 5) -> HeadNet:
    """A head trained on every example that holds nothing by the person ``without``."""
    torch.manual_seed(seed)
    rng = np.random.default_rng(seed)
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    chosen = np.array([at for at, who in enumerate(pack.persons) if not without or who != without])
    # Some frames of what is learnt from, nothing of the person left out.
    some = np.concatenate(
        [pack.frames[pack.frame_at[at] : pack.frame_at[at + 1] : 37] for at in chosen]
    ).astype(np.float32)
    net = HeadNet(some.mean(axis=0), some.std(axis=0) + 1e-3, len(word_list()), width).to(device)
    feed = _Feed(pack, device)
    steps = epochs * (len(chosen) // BATCH + 1)
    optimiser = torch.optim.AdamW(net.parameters(), lr=1e-3, weight_decay=0.02)
    rate = torch.optim.lr_scheduler.OneCycleLR(optimiser, 4e-3, total_steps=steps, pct_start=0.15)
    began = time.monotonic()
    shadow = {name: value.detach().clone() for name, value in net.state_dict().items()}
    for epoch in range(epochs):
        total, batches = torch.zeros((), device=device), _batches(pack, chosen, rng)
        for batch in batches:
            loss = _loss(net, feed.batch(batch))
            optimiser.zero_grad(set_to_none=True)
            loss.backward()
            nn.utils.clip_grad_norm_(net.parameters(), 2.0)
            optimiser.step()
            rate.step()
            total += loss.detach()
            for name, value in net.state_dict().items():
                shadow[name].lerp_(value, 0.005)
        if epoch % 4 == 0 or epoch == epochs - 1:
            print(
                f"without {without or 'none'}: epoch {epoch}: {float(total) / len(batches):.4f}, "
                f"{time.monotonic() - began:.0f} s",
                flush=True,
            )
    net.load_state_dict(shadow)
    return net.eval().cpu()


def _batches(
    pack: Pack, chosen: NDArray[np.int64], rng: np.random.Generator
) -> list[NDArray[np.int64]]:
    """Examples of like length together, in random order."""
    keys = np.diff(pack.frame_at)[chosen] + rng.uniform(0, 40, len(chosen))
    order = chosen[np.argsort(keys)]
    batches = [order[at : at + BATCH] for at in range(0, len(order), BATCH)]
    rng.shuffle(batches)  # type: ignore[arg-type]
    return batches


@dataclass(frozen=True)
class _Batch:
    frames: torch.Tensor
    mask: torch.Tensor
    lengths: torch.Tensor
    targets: torch.Tensor
    target_lengths: torch.Tensor


class _Feed:
    """Batches gathered where the learning is done: all frames are moved there once."""

    def __init__(self, pack: Pack, device: torch.device) -> None:
        self._pack, self._device = pack, device
        self._frames = torch.from_numpy(pack.frames).to(device)

    def batch(self, rows: NDArray[np.int64]) -> _Batch:
        pack, device = self._pack, self._device
        begins = torch.from_numpy(pack.frame_at[rows]).to(device)
        lengths = torch.from_numpy(pack.frame_at[rows + 1] - pack.frame_at[rows]).to(device)
        place = torch.arange(int((pack.frame_at[rows + 1] - pack.frame_at[rows]).max())).to(device)
        mask = place[None] < lengths[:, None]
        at = torch.where(mask, begins[:, None] + place[None], begins[:, None])
        labels = [pack.labels[pack.label_at[row] : pack.label_at[row + 1]] for row in rows]
        targets = torch.from_numpy(np.concatenate(labels)).to(device)
        sizes = torch.tensor([len(label) for label in labels], device=device)
        return _Batch(self._frames[at].float(), mask, lengths, targets, sizes)


def _loss(net: HeadNet, batch: _Batch) -> torch.Tensor:
    frames = _masked_in_time(batch.frames)
    frames = torch.where(batch.mask[:, :, None], frames, net.mean)
    loss: torch.Tensor = nn.functional.ctc_loss(
        net(frames), batch.targets, batch.lengths, batch.target_lengths, zero_infinity=True
    )
    return loss


def _masked_in_time(frames: torch.Tensor) -> torch.Tensor:
    """Short stretches lost, one a batch row, so that no single frame is leant on."""
    batch, time_, _ = frames.shape
    begin = torch.randint(0, max(1, time_ - 4), (batch, 1), device=frames.device)
    width = torch.randint(0, 4, (batch, 1), device=frames.device)
    place = torch.arange(time_, device=frames.device)[None]
    hidden = (place >= begin) & (place < begin + width)
    return frames.masked_fill(hidden[:, :, None], 0.0)


def save(net: HeadNet, path: Path) -> None:
    """The weights as the numpy head reads them, in half precision."""
    state = {name: value.numpy() for name, value in net.state_dict().items()}
    # Words taught only as neighbours of the grammar's take no share when callouts are heard.
    heard = spoken_automaton().words
    kept = [at for at, word in enumerate(word_list()) if at < 2 or word in heard]
    half = {
        "w1": state["first.weight"].transpose(2, 1, 0),
        "b1": state["first.bias"],
        "w2": state["second.weight"].transpose(2, 1, 0),
        "b2": state["second.bias"],
        "w3": state["last.weight"].T[:, kept],
        "b3": state["last.bias"][kept],
    }
    path.parent.mkdir(parents=True, exist_ok=True)
    np.savez_compressed(
        path,
        mean=state["mean"].astype(np.float32),
        scale=state["scale"].astype(np.float32),
        words=np.array(word_list())[kept],
        **{name: value.astype(np.float16) for name, value in half.items()},
    )


def learn(
    clips: Path,
    out: Path,
    count: int,
    seed: int,
    width: int,
    epochs: int,
    model: Path | None = None,
) -> None:
    """Encode once, then train the whole head and one for each person left out."""
    pack = encode_examples(clips, count, seed, os.cpu_count() or 1, model)
    for without in ("", *SPEAKERS):
        name = f"head-{without}.npz" if without else "head.npz"
        save(train(pack, without, width, epochs), out / name)
