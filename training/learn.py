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


_fork = multiprocessing.get_context("fork")
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
) -> list[Encoded]:
    """``count`` examples, encoded."""
    os.environ["OMP_NUM_THREADS"] = "1"
    context = multiprocessing.get_context("spawn")
    began = time.monotonic()
    with context.Pool(processes, _prepare, (clips, model)) as pool:
        found = pool.map(_encode, [(seed, number) for number in range(count)], chunksize=64)
    print(f"encoded {count} examples in {time.monotonic() - began:.0f} s", flush=True)
    return [one for one in found if len(one.frames) <= FRAMES_AT_MOST]


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


def train(
    takes: Sequence[Encoded], without: str, width: int, epochs: int, seed: int = 5
) -> HeadNet:
    """A head trained on every example that holds nothing by the person ``without``."""
    torch.manual_seed(seed)
    rng = np.random.default_rng(seed)
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    takes = [take for take in takes if not without or take.person != without]
    some = np.concatenate([take.frames[::9] for take in takes[:4000]]).astype(np.float32)
    net = HeadNet(some.mean(axis=0), some.std(axis=0) + 1e-3, len(word_list()), width).to(device)
    steps = epochs * (len(takes) // BATCH + 1)
    optimiser = torch.optim.AdamW(net.parameters(), lr=1e-3, weight_decay=0.02)
    rate = torch.optim.lr_scheduler.OneCycleLR(optimiser, 4e-3, total_steps=steps, pct_start=0.15)
    began, average, shadow = time.monotonic(), 0.0, _copied(net)
    for epoch in range(epochs):
        total = 0.0
        batches = _batches(takes, rng)
        for batch in batches:
            loss = _loss(net, [takes[at] for at in batch], device)
            optimiser.zero_grad(set_to_none=True)
            loss.backward()
            nn.utils.clip_grad_norm_(net.parameters(), 2.0)
            optimiser.step()
            rate.step()
            total += float(loss.detach())
            for name, value in net.state_dict().items():
                shadow[name].lerp_(value, 0.005)
        average = total / len(batches)
        if epoch % 4 == 0 or epoch == epochs - 1:
            print(f"without {without or 'none'}: epoch {epoch}: {average:.4f}, "
                  f"{time.monotonic() - began:.0f} s", flush=True)  # fmt: skip
    net.load_state_dict(shadow)
    return net.eval().cpu()


def _copied(net: HeadNet) -> dict[str, torch.Tensor]:
    return {name: value.detach().clone() for name, value in net.state_dict().items()}


def _batches(takes: Sequence[Encoded], rng: np.random.Generator) -> list[NDArray[np.int64]]:
    keys = np.array([len(take.frames) for take in takes]) + rng.uniform(0, 40, len(takes))
    order = np.argsort(keys)
    batches = [order[at : at + BATCH] for at in range(0, len(order), BATCH)]
    rng.shuffle(batches)  # type: ignore[arg-type]
    return batches


def _loss(net: HeadNet, chosen: Sequence[Encoded], device: torch.device) -> torch.Tensor:
    lengths = torch.tensor([len(take.frames) for take in chosen])
    padded = np.zeros((len(chosen), int(lengths.max()), 384), dtype=np.float16)
    for row, take in enumerate(chosen):
        padded[row, : len(take.frames)] = take.frames
    frames = torch.from_numpy(padded).to(device).float()
    mask = (torch.arange(frames.shape[1])[None] < lengths[:, None]).to(device)
    frames = _masked_in_time(frames)
    targets = torch.from_numpy(np.concatenate([take.labels for take in chosen])).to(device)
    target_lengths = torch.tensor([len(take.labels) for take in chosen])
    frames = torch.where(mask[:, :, None], frames, net.mean)
    loss: torch.Tensor = nn.functional.ctc_loss(
        net(frames), targets, lengths.to(device), target_lengths.to(device), zero_infinity=True
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
    takes = encode_examples(clips, count, seed, os.cpu_count() or 1, model)

    def _train_one(without: str) -> None:
        name = f"head-{without}.npz" if without else "head.npz"
        save(train(takes, without, width, epochs), out / name)

    wanted = ("", *SPEAKERS)
    if (os.cpu_count() or 1) < 2 * len(wanted):
        for without in wanted:
            _train_one(without)
        return
    # Forked before any GPU is touched: the examples are shared, not copied.
    jobs = [_fork.Process(target=_train_one, args=(without,)) for without in wanted]
    for job in jobs:
        job.start()
    for job in jobs:
        job.join()
