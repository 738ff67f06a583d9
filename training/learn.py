"""From clips and recordings to heads: examples on every core, the encoder, then CTC, in torch.

Uses a GPU where there is one; without one the same steps take longer. One head learns from
everybody, and one for each fold of people from all but them, for honest figures. No synthesis here.
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
from threadpoolctl import threadpool_limits
from torch import nn

from callout.speech.closed.mel import log_mel
from training.clips import read
from training.cuts import spelt
from training.encoder import TorchEncoder
from training.nets import HeadNets, save, word_list
from training.people import CORPORA, FOLDS, recordings, single_words
from training.scenes import REJECT, Library, example
from training.synthesisers import UNSEEN

BATCH = 96
FRAMES_AT_MOST = 640
# What the engine's encoder rounds away in int8, about, in a frame's own spread.
ROUNDING = 0.15
Labels = tuple[int, ...]


@dataclass(frozen=True)
class Heard:
    """Log-mel features (80, T) in half precision, the words as numbers, the person's fold."""

    mel: NDArray[np.float16]
    labels: Labels
    fold: int


def library_of(clips: Path, shared: Path) -> Library:
    """The clips kept in ``clips``, unseen voices left out, and the recorded people."""
    synthetic = [
        clip
        for path in sorted(clips.glob("*.ogg"))
        if path.stem not in UNSEEN
        for clip in read(path)
    ]
    people = {corpus: recordings(shared, corpus) for corpus in CORPORA}
    apart = spelt([one for own in people.values() for one in own])
    return Library.of(synthetic, people, apart, single_words(shared))


_made: dict[str, object] = {}


def _heard(job: tuple[int, int]) -> Heard | None:
    library: Library = _made["library"]  # type: ignore[assignment]
    index: dict[str, int] = _made["index"]  # type: ignore[assignment]
    one = example(library, *job)
    labels = tuple(index.get(word, index[REJECT]) for word in one.words)
    mel = log_mel(one.samples[: len(one.samples) // 320 * 320]).astype(np.float16)
    fits = 2 * len(labels) < mel.shape[1] // 2 <= FRAMES_AT_MOST
    return Heard(mel, labels, one.fold) if fits else None


def examples(clips: Path, shared: Path, count: int, seed: int) -> list[Heard]:
    """``count`` examples, less the few that are too long, on every core."""
    _made.update(
        library=library_of(clips, shared), index={word: at for at, word in enumerate(word_list())}
    )
    began = time.monotonic()
    # One thread of numpy in each: its matrices are small.
    with (
        threadpool_limits(limits=1, user_api="blas"),
        multiprocessing.get_context("fork").Pool(os.cpu_count()) as pool,
    ):
        jobs = [(seed, number) for number in range(count)]
        found = [one for one in pool.imap(_heard, jobs, chunksize=64) if one is not None]
    print(f"{len(found)} examples, {time.monotonic() - began:.0f} s", flush=True)
    return found


@dataclass(frozen=True)
class Pack:
    """Examples end to end: frames (all, width) in half precision, labels, where each begins."""

    frames: NDArray[np.float16]
    labels: NDArray[np.int64]
    frame_at: NDArray[np.int64]
    label_at: NDArray[np.int64]
    folds: NDArray[np.int64]


def packed(found: Sequence[Heard], encoder: TorchEncoder) -> Pack:
    """The examples through the encoder, those of like length together."""
    order = sorted(range(len(found)), key=lambda at: found[at].mel.shape[1])
    frames: list[NDArray[np.float16]] = []
    for at in range(0, len(order), 64):
        frames += encoder.encode([found[n].mel.astype(np.float32) for n in order[at : at + 64]])
    labels = [found[at].labels for at in order]
    return Pack(
        np.concatenate(frames),
        np.array([label for one in labels for label in one], dtype=np.int64),
        np.cumsum([0, *(len(one) for one in frames)]),
        np.cumsum([0, *(len(one) for one in labels)]),
        np.array([found[at].fold for at in order]),
    )


def learners(folds: NDArray[np.int64]) -> NDArray[np.bool_]:
    """(examples, heads): which head may learn from which; the first from all, one for each fold."""
    return np.c_[np.ones(len(folds), dtype=bool), folds[:, None] != np.arange(FOLDS)]


def train(pack: Pack, width: int, epochs: int, seed: int = 5) -> HeadNets:
    """One head that learnt from everybody, then one for each fold without its people.

    The frames' mean and scale are those of synthesised voices, so of nobody who is judged.
    """
    torch.manual_seed(seed)
    rng = np.random.default_rng(seed)
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    some = np.concatenate(
        [
            pack.frames[pack.frame_at[at] : pack.frame_at[at + 1] : 11]
            for at in np.flatnonzero(pack.folds < 0)
        ]
    ).astype(np.float32)
    allowed = learners(pack.folds)
    heads = allowed.shape[1]
    mean, scale = some.mean(axis=0), some.std(axis=0) + 1e-3
    net = HeadNets(mean, scale, heads, width, len(word_list())).to(device)
    feed = _Feed(pack, allowed, device)
    chosen = np.arange(len(pack.folds))
    steps = epochs * (len(chosen) // BATCH + 1)
    optimiser = torch.optim.AdamW(net.parameters(), lr=1e-3, weight_decay=0.02)
    rate = torch.optim.lr_scheduler.OneCycleLR(optimiser, 4e-3, total_steps=steps, pct_start=0.15)
    began = time.monotonic()
    shadow = {name: value.detach().clone() for name, value in net.named_parameters()}
    for epoch in range(epochs):
        total, batches = torch.zeros((), device=device), _batches(pack, chosen, rng)
        for batch in batches:
            loss = _loss(net, feed.batch(batch))
            optimiser.zero_grad(set_to_none=True)
            loss.backward()
            nn.utils.clip_grad_norm_(net.parameters(), 2.0 * heads**0.5)
            optimiser.step()
            rate.step()
            total += loss.detach()
            for name, value in net.named_parameters():
                shadow[name].lerp_(value.detach(), 0.005)
        if epoch % 4 == 0 or epoch == epochs - 1:
            print(
                f"epoch {epoch}: {float(total) / len(batches) / heads:.4f}, "
                f"{time.monotonic() - began:.0f} s",
                flush=True,
            )
    net.load_state_dict(shadow, strict=False)
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
    """(batch, most words), padded."""
    target_lengths: torch.Tensor
    learns: torch.Tensor
    """(batch, heads): 1 where the head may learn from the example."""


class _Feed:
    """Batches gathered where the learning is done: all frames are moved there once."""

    def __init__(self, pack: Pack, allowed: NDArray[np.bool_], device: torch.device) -> None:
        self._pack, self._device = pack, device
        self._allowed = torch.from_numpy(allowed).float().to(device)
        self._frames = torch.from_numpy(pack.frames).to(device)

    def batch(self, rows: NDArray[np.int64]) -> _Batch:
        pack, device = self._pack, self._device
        begins = torch.from_numpy(pack.frame_at[rows]).to(device)
        lengths = torch.from_numpy(pack.frame_at[rows + 1] - pack.frame_at[rows]).to(device)
        place = torch.arange(int((pack.frame_at[rows + 1] - pack.frame_at[rows]).max())).to(device)
        mask = place[None] < lengths[:, None]
        at = torch.where(mask, begins[:, None] + place[None], begins[:, None])
        labels = [
            torch.from_numpy(pack.labels[pack.label_at[row] : pack.label_at[row + 1]])
            for row in rows
        ]
        targets = nn.utils.rnn.pad_sequence(labels, batch_first=True).to(device)
        sizes = torch.tensor([len(label) for label in labels], device=device)
        learns = self._allowed[torch.from_numpy(rows).to(device)]
        return _Batch(self._frames[at].float(), mask, lengths, targets, sizes, learns)


def _loss(net: HeadNets, batch: _Batch) -> torch.Tensor:
    """The heads' mean losses, each over what it may learn from, summed over the heads."""
    frames = batch.frames + ROUNDING * net.scale * torch.randn_like(batch.frames)
    frames = _masked_in_time(frames)
    frames = torch.where(batch.mask[:, :, None], frames, net.mean)
    # (time, batch, heads, words): each head's answer is one more row of the batch.
    told = net(frames).flatten(1, 2)
    losses = nn.functional.ctc_loss(
        told,
        batch.targets.repeat_interleave(net.heads, 0),
        batch.lengths.repeat_interleave(net.heads),
        batch.target_lengths.repeat_interleave(net.heads),
        reduction="none",
        zero_infinity=True,
    ).unflatten(0, (-1, net.heads))
    means = losses / batch.target_lengths.clamp(min=1)[:, None] * batch.learns
    return (means.sum(dim=0) / batch.learns.sum(dim=0).clamp(min=1)).sum()


def _masked_in_time(frames: torch.Tensor) -> torch.Tensor:
    """Short stretches lost, one a batch row, so that no single frame is leant on."""
    batch, time_, _ = frames.shape
    begin = torch.randint(0, max(1, time_ - 4), (batch, 1), device=frames.device)
    width = torch.randint(0, 4, (batch, 1), device=frames.device)
    place = torch.arange(time_, device=frames.device)[None]
    hidden = (place >= begin) & (place < begin + width)
    return frames.masked_fill(hidden[:, :, None], 0.0)


def learn(
    clips: Path,
    shared: Path,
    out: Path,
    model: Path,
    count: int,
    seed: int,
    width: int,
    epochs: int,
    learning: int,
) -> None:
    """Encode once, then train the whole head and one for each fold of people left out."""
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    pack = packed(examples(clips, shared, count, seed), TorchEncoder(model, device))
    nets = train(pack, width, epochs, learning)
    for number in range(nets.heads):
        save(nets, number, out / (f"head-{number - 1}.npz" if number else "head.npz"))
