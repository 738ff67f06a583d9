"""Whisper's encoder in torch, from a CTranslate2 file: the frames that the engine hears, in bulk.

Windows are as short as each utterance, as at work: what is put behind the shorter ones of a batch
is hidden from the others. Layers after A. Radford and others, 2022. Against CTranslate2 in int8 the
frames differ by its rounding of what goes into each layer, a few per cent.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import torch
from numpy.typing import NDArray
from torch.nn import functional

from training.ctranslate import read


class TorchEncoder:
    """Log-mel features (80, T) of utterances to frames (T // 2, width)."""

    def __init__(self, path: Path, device: torch.device) -> None:
        model = read(path)
        self._device = device
        self._heads = int(model.arrays["encoder/num_heads"])
        self._weights = {
            name.removeprefix("encoder/"): torch.from_numpy(_exact(model.arrays, name)).to(device)
            for name in model.arrays
            if name.startswith("encoder/")
            and model.arrays[name].ndim
            and not name.endswith("_scale")
        }
        self.layers = 1 + max(
            int(name.split("/")[0].removeprefix("layer_"))
            for name in self._weights
            if name.startswith("layer_") and name[6].isdigit()
        )

    @torch.no_grad()
    def encode(self, mels: Sequence[NDArray[np.float32]]) -> list[NDArray[np.float16]]:
        """The last layer's frames of each, utterances of like length best together."""
        sizes = [mel.shape[1] // 2 for mel in mels]
        batch = np.zeros((len(mels), mels[0].shape[0], 2 * max(sizes)), np.float32)
        for row, mel, size in zip(batch, mels, sizes, strict=True):
            row[:, : 2 * size] = mel[:, : 2 * size]
        frames = self._run(torch.from_numpy(batch).to(self._device), sizes)
        kept = frames.half().cpu().numpy()
        return [row[:size] for row, size in zip(kept, sizes, strict=True)]

    def _run(self, mel: torch.Tensor, sizes: Sequence[int]) -> torch.Tensor:
        told = torch.tensor(sizes, device=self._device)
        fine = torch.arange(mel.shape[2], device=self._device)[None] < 2 * told[:, None]
        bent = functional.gelu(self._convolved("conv1", mel, 1)) * fine[:, None]
        bent = functional.gelu(self._convolved("conv2", bent, 2))
        hidden = bent.transpose(1, 2)
        hidden = hidden + self._weights["position_encodings/encodings"][: hidden.shape[1]]
        seen = torch.arange(hidden.shape[1], device=self._device)[None] < told[:, None]
        for layer in range(self.layers):
            hidden = hidden + self._attended(f"layer_{layer}/self_attention", hidden, seen)
            hidden = hidden + self._fed(f"layer_{layer}/ffn", hidden)
        return self._levelled("layer_norm", hidden)

    def _convolved(self, name: str, values: torch.Tensor, stride: int) -> torch.Tensor:
        weight, bias = self._weights[f"{name}/weight"], self._weights[f"{name}/bias"]
        return functional.conv1d(values, weight, bias, stride=stride, padding=1)

    def _levelled(self, name: str, values: torch.Tensor) -> torch.Tensor:
        gamma, beta = self._weights[f"{name}/gamma"], self._weights[f"{name}/beta"]
        return functional.layer_norm(values, gamma.shape, gamma, beta)

    def _linear(self, name: str, values: torch.Tensor) -> torch.Tensor:
        return functional.linear(
            values, self._weights[f"{name}/weight"], self._weights[f"{name}/bias"]
        )

    def _attended(self, name: str, hidden: torch.Tensor, seen: torch.Tensor) -> torch.Tensor:
        batch, time, width = hidden.shape
        mixed = self._linear(f"{name}/linear_0", self._levelled(f"{name}/layer_norm", hidden))
        query, key, value = (
            part.view(batch, time, self._heads, -1).transpose(1, 2)
            for part in mixed.split(width, dim=2)
        )
        found = functional.scaled_dot_product_attention(
            query, key, value, attn_mask=seen[:, None, None, :]
        )
        return self._linear(f"{name}/linear_1", found.transpose(1, 2).reshape(batch, time, width))

    def _fed(self, name: str, hidden: torch.Tensor) -> torch.Tensor:
        inner = self._linear(f"{name}/linear_0", self._levelled(f"{name}/layer_norm", hidden))
        return self._linear(f"{name}/linear_1", functional.gelu(inner))


def _exact(arrays: dict[str, NDArray[Any]], name: str) -> NDArray[np.float32]:
    values = arrays[name].astype(np.float32)
    scale = arrays.get(f"{name}_scale")
    return values if scale is None else values / scale[:, None]
