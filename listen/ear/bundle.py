"""Load and verify a model bundle: arrays and a manifest, no code.

Conventions
-----------
A bundle is a folder with `manifest.json` and `arrays.npz`. The manifest names
the features in order, the labels of each head, the shape of every array and
the SHA-256 of the array file. Sizes, names and shapes are checked before an
array is used; `allow_pickle` is off, so nothing in a bundle can run.
"""

from __future__ import annotations

import hashlib
import json
import tokenize
import zipfile
import zlib
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from listen.errors import ModelBundleError
from listen.features.around import STROKE_INPUTS, TEXTURE_INPUTS
from listen.features.starts import START_NAMES
from listen.types import ModelInfo
from listen.vocabulary import SOUNDS

FORMAT = "listen-model/1"
_LARGEST_FILE = 16_000_000
_LARGEST_ARRAY = 6_000_000
#: What numpy and zipfile raise on a damaged, encrypted or oddly packed archive.
# numpy parses a damaged array header as Python text before it refuses it.
_UNREADABLE = (
    OSError, ValueError, KeyError, TypeError, EOFError, RuntimeError, zlib.error, zipfile.BadZipFile,
    SyntaxError, tokenize.TokenError,
)  # fmt: skip
#: What each part of a model is given; a shop's older model may lack the last.
HEAD_FEATURES = {"textures": TEXTURE_INPUTS, "onsets": STROKE_INPUTS, "starts": START_NAMES}
_NEEDED = {"textures", "onsets"}


#: Rows that go through the layers in one go, so that memory does not grow with the clip.
_AT_ONCE = 4096


@dataclass(frozen=True, slots=True)
class Head:
    """One small network: standardise, layers with ReLU between, logistic outputs (one a label).

    Attributes
    ----------
    labels : tuple of str
    mean, scale : np.ndarray [shape=(f,)], float64
    weights : tuple of np.ndarray [shape=(in, out)], float64
    biases : tuple of np.ndarray [shape=(out,)], float64
    slope, offset : np.ndarray [shape=(labels,)], float64
        Sigmoid calibration on the logit, 1 and 0 when there is none.
    """

    labels: tuple[str, ...]
    mean: np.ndarray
    scale: np.ndarray
    weights: tuple[np.ndarray, ...]
    biases: tuple[np.ndarray, ...]
    slope: np.ndarray
    offset: np.ndarray

    def hidden(self, values: np.ndarray) -> np.ndarray:
        """What the last layer is given [shape=(k, h)] for rows of features [shape=(k, f)]."""
        x = (values.astype(np.float64) - self.mean) / self.scale
        for weight, bias in zip(self.weights[:-1], self.biases[:-1], strict=True):
            x = np.maximum(x @ weight + bias, 0.0)
        return x

    def logits(self, values: np.ndarray) -> np.ndarray:
        """Raw outputs [shape=(k, labels)] for rows of features [shape=(k, f)]."""
        if len(values) > _AT_ONCE:
            parts = np.array_split(values, -(-len(values) // _AT_ONCE))
            return np.concatenate([self.logits(part) for part in parts])
        return np.asarray(self.hidden(values) @ self.weights[-1] + self.biases[-1])

    def probabilities(self, values: np.ndarray) -> np.ndarray:
        """Calibrated probabilities [shape=(k, labels)], 0..1."""
        return 1.0 / (1.0 + np.exp(-np.clip(self.logits(values) * self.slope + self.offset, -50, 50)))


@dataclass(frozen=True, slots=True)
class Bundle:
    info: ModelInfo
    heads: dict[str, Head]


def _refuse(what: str) -> ModelBundleError:
    return ModelBundleError(
        f"The model cannot be used: {what}. Install the project again or train a new model."
    )


def load_bundle(folder: str | Path) -> Bundle:
    """Load a model.

    Parameters
    ----------
    folder : path
        Folder with `manifest.json` and `arrays.npz`.

    Raises
    ------
    ModelBundleError
        When a file is missing, altered, too large or does not fit this version.
    """
    folder = Path(folder)
    try:
        raw = (folder / "manifest.json").read_bytes()
        size = (folder / "arrays.npz").stat().st_size
    except OSError as error:
        raise _refuse(f"{folder.name} lacks {Path(str(error.filename)).name}") from error
    if len(raw) > 1_000_000 or size > _LARGEST_FILE:
        raise _refuse("its files are larger than a model may be")
    try:
        manifest = json.loads(raw)
        stated = dict(manifest["arrays"])
        sha256 = str(manifest["sha256"])
        version, trained_on = str(manifest["version"]), str(manifest["trained_on"])
        heads = dict(manifest["heads"])
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError) as error:
        raise _refuse("its manifest is not complete") from error
    if manifest.get("format") != FORMAT:
        raise _refuse(f"its format is {str(manifest.get('format'))[:40]!r}, this version reads {FORMAT!r}")
    data = (folder / "arrays.npz").read_bytes()
    if hashlib.sha256(data).hexdigest() != sha256:
        raise _refuse("its arrays are not those that its manifest names")
    arrays = _load_arrays(folder / "arrays.npz", stated)
    built = {}
    for name, spec in heads.items():
        if name not in HEAD_FEATURES:
            raise _refuse(f"it has an unknown part {str(name)[:40]!r}")
        built[name] = _head(name, spec, arrays)
    if not set(built) >= _NEEDED:
        raise _refuse("a part of it is missing")
    return Bundle(ModelInfo(version, trained_on, sha256), built)


def _load_arrays(path: Path, stated: dict) -> dict[str, np.ndarray]:
    """Read the arrays after the archive's own directory says that they are as small as stated."""
    try:
        with zipfile.ZipFile(path) as archive:
            for item in archive.infolist():
                shape = stated.get(item.filename.removesuffix(".npy"))
                if shape is None:
                    raise _refuse(
                        f"it holds an array that its manifest does not name ({item.filename[:40]!r})"
                    )
                expected = int(np.prod([int(n) for n in shape])) * 8
                if (
                    min([int(n) for n in shape], default=0) < 0
                    or expected > 8 * _LARGEST_ARRAY
                    or item.file_size > expected + 1024
                ):
                    raise _refuse(f"array {item.filename[:40]!r} is larger than stated")
                # numpy allocates what an array's own header claims, so the header is read first.
                with archive.open(item) as member:
                    if np.lib.format.read_magic(member) != (1, 0):
                        raise _refuse("its arrays cannot be read")
                    claimed, _, kind = np.lib.format.read_array_header_1_0(member)
                if list(claimed) != [int(n) for n in shape] or kind != np.float64:
                    raise _refuse(f"array {item.filename.removesuffix('.npy')[:40]!r} is not as stated")
        with np.load(path, allow_pickle=False) as archive:
            arrays = {name: archive[name] for name in stated}
    except _UNREADABLE as error:
        raise _refuse("its arrays cannot be read") from error
    for name, array in arrays.items():
        if (
            list(array.shape) != list(stated[name])
            or array.dtype != np.float64
            or not np.isfinite(array).all()
        ):
            raise _refuse(f"array {name[:40]!r} is not as stated")
        array.setflags(write=False)
    return arrays


def _head(name: str, spec: dict, arrays: dict[str, np.ndarray]) -> Head:
    try:
        labels, layers = tuple(str(label) for label in spec["labels"]), int(spec["layers"])
        if tuple(spec["features"]) != HEAD_FEATURES[name]:
            raise _refuse(f"the features of {name!r} are not those of this version")
        weights = tuple(arrays[f"{name}.w{i}"] for i in range(layers))
        biases = tuple(arrays[f"{name}.b{i}"] for i in range(layers))
        head = Head(labels, arrays[f"{name}.mean"], arrays[f"{name}.scale"], weights, biases,
                    arrays[f"{name}.slope"], arrays[f"{name}.offset"])  # fmt: skip
    except (KeyError, TypeError, ValueError) as error:
        raise _refuse(f"its part {name!r} is not complete") from error
    strange = [label for label in labels if label not in SOUNDS]
    if strange or len(set(labels)) != len(labels) or (name == "onsets" and "click" not in labels):
        raise _refuse(f"the words of {name!r} are not words of the ear")
    width = len(HEAD_FEATURES[name])
    fits = head.mean.shape == (width,) == head.scale.shape and (head.scale > 0).all() and 1 <= layers <= 4
    for weight, bias in zip(weights, biases, strict=True):
        fits = fits and weight.ndim == 2 and weight.shape[0] == width and bias.shape == (weight.shape[1],)
        width = weight.shape[1] if weight.ndim == 2 else -1
    if (
        not fits
        or width != len(labels)
        or head.slope.shape != (width,) != ()
        or head.offset.shape != (width,)
    ):
        raise _refuse(f"the layers of {name!r} do not fit each other")
    return head
