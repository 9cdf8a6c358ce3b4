"""The model bundle: equal to scikit-learn, the same bytes each time, refused when anything does not fit."""

import hashlib
import io
import json
import pickle
import struct
import zipfile

import numpy as np
import pytest
from sklearn.linear_model import LogisticRegression

from listen.ear.bundle import FORMAT, Head, load_bundle
from listen.errors import ModelBundleError
from listen.features.around import STROKE_INPUTS, TEXTURE_INPUTS
from listen.learn.export import write_bundle
from listen.learn.fit import as_head, calibrated, fit_network
from listen.learn.labelled import Rows
from listen.learn.recipe import HeadRecipe

LABELS = {"textures": ("hiss", "boil", "speech"), "onsets": ("click", "thump", "other")}
NAMES = {"textures": TEXTURE_INPUTS, "onsets": STROKE_INPUTS}


def rows_for(part, seed=1, n=300):
    """Random rows whose labels hang on a few features, several at once."""
    rng = np.random.default_rng(seed)
    x = (rng.normal(size=(n, len(NAMES[part]))) * rng.uniform(0.1, 30, len(NAMES[part]))).astype(np.float32)
    z = (x - x.mean(axis=0)) / x.std(axis=0)
    y = np.stack([z[:, 0] + z[:, 1] > 0, z[:, 2] > 0.5, z[:, 3] * z[:, 4] > 0], axis=1).astype(np.int8)
    return Rows(x, y, rng.integers(0, 12, n))


def recipe_for(part, hidden=(8,)):
    return HeadRecipe(LABELS[part], hidden, alpha=0.02, epochs=12, least_snr_db=3.0)


def fitted(part, hidden=(8,)):
    rows, recipe = rows_for(part), recipe_for(part, hidden)
    network, mean, scale = fit_network(rows, recipe, seed=3)
    return rows, network, as_head(network, mean, scale, recipe.labels)


@pytest.fixture(scope="module")
def heads():
    return {part: fitted(part)[2] for part in LABELS}


@pytest.fixture
def folder(tmp_path, heads):
    return write_bundle(
        tmp_path / "ear", heads, version="t1", trained_on="Random rows of a test.", facts={"seed": 3}
    )


def resign(folder, *, arrays=None, arrays_stated=None, **changes):
    """Write other arrays or manifest entries and state the hash that fits: an attacker can."""
    manifest = json.loads((folder / "manifest.json").read_bytes())
    if arrays is not None:
        (folder / "arrays.npz").write_bytes(arrays)
    manifest["sha256"] = hashlib.sha256((folder / "arrays.npz").read_bytes()).hexdigest()
    manifest |= changes | ({} if arrays_stated is None else {"arrays": arrays_stated})
    (folder / "manifest.json").write_text(json.dumps(manifest))


def arrays_in(folder):
    with np.load(folder / "arrays.npz") as archive:
        return {name: archive[name] for name in archive.files}


def npz(arrays):
    out = io.BytesIO()
    np.savez(out, **arrays)
    return out.getvalue()


def manifest_of(folder):
    return json.loads((folder / "manifest.json").read_bytes())


# --- equal to scikit-learn


@pytest.mark.parametrize("hidden", [(8,), (12, 5)])
@pytest.mark.parametrize("part", LABELS)
def test_shipped_form_equals_scikit_learn(tmp_path, part, hidden):
    rows, network, head = fitted(part, hidden)
    other = next(p for p in LABELS if p != part)
    folder = write_bundle(
        tmp_path, {part: head, other: fitted(other)[2]}, version="t", trained_on="Random rows.", facts={}
    )
    loaded = load_bundle(folder).heads[part]
    x = np.concatenate([rows.x, rows_for(part, seed=9).x * 3])
    expected = network.predict_proba((x.astype(np.float64) - head.mean) / head.scale)
    assert expected.std() > 0.1
    np.testing.assert_allclose(loaded.probabilities(x), expected, atol=1e-6)
    assert loaded.labels == LABELS[part]


def test_calibration_is_a_sigmoid_on_the_logit():
    rows, recipe = rows_for("onsets", n=600), recipe_for("onsets")
    network, mean, scale = fit_network(rows, recipe, seed=3)
    plain = as_head(network, mean, scale, recipe.labels)
    head = calibrated(plain, rows, recipe, seed=3)
    assert (head.slope > 0).all()
    np.testing.assert_allclose(
        head.probabilities(rows.x),
        1 / (1 + np.exp(-(plain.logits(rows.x) * head.slope + head.offset))),
        atol=1e-9,
    )
    # On rows it never saw it is no worse than the raw network.
    fresh = rows_for("onsets", seed=2, n=600)
    brier = [np.mean((h.probabilities(fresh.x) - fresh.y) ** 2) for h in (plain, head)]
    assert brier[1] < brier[0] + 0.01


def test_calibrated_logit_equals_scikit_learn():
    rng = np.random.default_rng(5)
    logit = rng.normal(size=(400, 1)) * 3
    y = rng.uniform(size=400) < 1 / (1 + np.exp(-(0.5 * logit[:, 0] - 1)))
    fit = LogisticRegression(C=1e3).fit(logit, y)
    head = Head(
        ("click",), np.zeros(1), np.ones(1), (np.ones((1, 1)),), (np.zeros(1),), fit.coef_[0], fit.intercept_
    )
    np.testing.assert_allclose(head.probabilities(logit)[:, 0], fit.predict_proba(logit)[:, 1], atol=1e-6)


def test_extreme_values_stay_probabilities(heads):
    for part, head in heads.items():
        p = head.probabilities(np.full((2, len(NAMES[part])), 1e9, np.float32) * np.array([[1], [-1]]))
        assert np.isfinite(p).all() and (p >= 0).all() and (p <= 1).all()


# --- written and read


def test_same_heads_give_the_same_bytes(tmp_path, heads):
    for name in ("one", "two"):
        write_bundle(tmp_path / name, heads, version="t", trained_on="x", facts={"a": 1})
    for file in ("manifest.json", "arrays.npz"):
        assert (tmp_path / "one" / file).read_bytes() == (tmp_path / "two" / file).read_bytes()
    assert sorted(p.name for p in (tmp_path / "one").iterdir()) == ["arrays.npz", "manifest.json"]


def test_training_twice_gives_the_same_head(heads):
    again = fitted("onsets")[2]
    for one, other in zip(again.weights, heads["onsets"].weights, strict=True):
        np.testing.assert_array_equal(one, other)


def test_reading_gives_what_was_written(folder, heads):
    bundle = load_bundle(folder)
    assert bundle.info.version == "t1" and bundle.info.trained_on == "Random rows of a test."
    assert bundle.info.sha256 == hashlib.sha256((folder / "arrays.npz").read_bytes()).hexdigest()
    for part, head in heads.items():
        for one, other in zip(bundle.heads[part].weights, head.weights, strict=True):
            # Single precision is kept.
            np.testing.assert_array_equal(one, other.astype(np.float32))
        assert not bundle.heads[part].mean.flags.writeable
    assert load_bundle(str(folder)).info == bundle.info


def test_manifest_says_what_it_holds(folder):
    manifest = manifest_of(folder)
    assert manifest["format"] == FORMAT and manifest["facts"] == {"seed": 3}
    assert manifest["heads"]["textures"]["features"] == list(TEXTURE_INPUTS)
    assert manifest["arrays"] == {
        name: list(array.shape) for name, array in sorted(arrays_in(folder).items())
    }


# --- refused


@pytest.mark.parametrize("file", ["manifest.json", "arrays.npz"])
def test_missing_file(folder, file):
    (folder / file).unlink()
    with pytest.raises(ModelBundleError, match=f"lacks {file}.*train a new model"):
        load_bundle(folder)


def test_missing_folder(tmp_path):
    with pytest.raises(ModelBundleError, match=r"lacks manifest\.json"):
        load_bundle(tmp_path / "nowhere")


def test_altered_arrays(folder):
    data = bytearray((folder / "arrays.npz").read_bytes())
    data[len(data) // 2] ^= 1
    (folder / "arrays.npz").write_bytes(data)
    with pytest.raises(ModelBundleError, match="not those that its manifest names"):
        load_bundle(folder)


@pytest.mark.parametrize("text", ["", "{", "[]", "null", "{}", '{"format": 1}', '"text"'])
def test_manifest_that_is_not_one(folder, text):
    (folder / "manifest.json").write_text(text)
    with pytest.raises(ModelBundleError, match="manifest is not complete"):
        load_bundle(folder)


def test_manifest_of_odd_bytes(folder):
    (folder / "manifest.json").write_bytes(b"\xff\xfe\x00{")
    with pytest.raises(ModelBundleError, match="manifest is not complete"):
        load_bundle(folder)


@pytest.mark.parametrize("key", ["arrays", "sha256", "version", "trained_on", "heads"])
def test_manifest_that_lacks_an_entry(folder, key):
    manifest = manifest_of(folder)
    del manifest[key]
    (folder / "manifest.json").write_text(json.dumps(manifest))
    with pytest.raises(ModelBundleError, match="manifest is not complete"):
        load_bundle(folder)


def test_other_format(folder):
    resign(folder, format="listen-model/9")
    with pytest.raises(
        ModelBundleError, match=r"format is 'listen-model/9', this version reads 'listen-model/1'"
    ):
        load_bundle(folder)


def test_other_features(folder):
    described = manifest_of(folder)["heads"]
    names = described["textures"]["features"]
    names[0], names[1] = names[1], names[0]
    resign(folder, heads=described)
    with pytest.raises(ModelBundleError, match="features of 'textures' are not those of this version"):
        load_bundle(folder)


def test_unknown_and_missing_parts(folder):
    described = manifest_of(folder)["heads"]
    resign(folder, heads=described | {"smells": described["onsets"]})
    with pytest.raises(ModelBundleError, match="unknown part 'smells'"):
        load_bundle(folder)
    resign(folder, heads={"onsets": described["onsets"]})
    with pytest.raises(ModelBundleError, match="a part of it is missing"):
        load_bundle(folder)


@pytest.mark.parametrize(
    "spec", [None, [], {}, {"labels": ["click"]}, {"labels": ["click"], "layers": "many", "features": []}]
)
def test_part_that_is_not_complete(folder, spec):
    resign(folder, heads=manifest_of(folder)["heads"] | {"onsets": spec})
    with pytest.raises(ModelBundleError, match=r"'onsets' (is not complete|are not those)"):
        load_bundle(folder)


@pytest.mark.parametrize("bad", [np.nan, np.inf, -np.inf])
def test_numbers_that_are_none(folder, bad):
    arrays = arrays_in(folder)
    arrays["onsets.w0"][0, 0] = bad
    resign(folder, arrays=npz(arrays))
    with pytest.raises(ModelBundleError, match=r"array 'onsets\.w0' is not as stated"):
        load_bundle(folder)


def test_single_precision_is_not_what_was_stated(folder):
    arrays = arrays_in(folder)
    arrays["onsets.b0"] = arrays["onsets.b0"].astype(np.float32)
    resign(folder, arrays=npz(arrays))
    with pytest.raises(ModelBundleError, match=r"array 'onsets\.b0' is not as stated"):
        load_bundle(folder)


@pytest.mark.parametrize("name, shape", [
    ("onsets.w0", (len(STROKE_INPUTS), 7)), ("onsets.w0", (len(STROKE_INPUTS) + 1, 8)), ("onsets.mean", (3,)),
    ("onsets.b1", (2,)), ("onsets.slope", (1,)), ("onsets.offset", (3, 1)), ("onsets.w1", (8,)),
])  # fmt: skip
def test_layers_that_do_not_fit(folder, name, shape):
    arrays = arrays_in(folder)
    arrays[name] = np.ones(shape)
    resign(folder, arrays=npz(arrays), arrays_stated=manifest_of(folder)["arrays"] | {name: list(shape)})
    with pytest.raises(ModelBundleError, match="layers of 'onsets' do not fit"):
        load_bundle(folder)


def test_scale_of_nought(folder):
    arrays = arrays_in(folder)
    arrays["onsets.scale"][2] = 0.0
    resign(folder, arrays=npz(arrays))
    with pytest.raises(ModelBundleError, match="layers of 'onsets' do not fit"):
        load_bundle(folder)


def test_shape_other_than_stated(folder):
    stated = manifest_of(folder)["arrays"]
    resign(folder, arrays_stated=stated | {"onsets.w0": stated["onsets.w0"][::-1]})
    with pytest.raises(ModelBundleError, match="is not as stated"):
        load_bundle(folder)


def test_array_that_nobody_named(folder):
    resign(folder, arrays=npz(arrays_in(folder) | {"extra": np.zeros(3)}))
    with pytest.raises(ModelBundleError, match=r"does not name \('extra\.npy'\)"):
        load_bundle(folder)


def test_array_that_is_not_there(folder):
    arrays = arrays_in(folder)
    del arrays["onsets.w1"]
    resign(folder, arrays=npz(arrays))
    with pytest.raises(ModelBundleError, match="cannot be read"):
        load_bundle(folder)


def test_larger_than_stated(folder):
    # Zeros pack a thousandfold: 8 MB in a few kB of archive.
    arrays = arrays_in(folder)
    arrays["onsets.b0"] = np.zeros(1_000_000)
    out = io.BytesIO()
    np.savez_compressed(out, **arrays)
    assert len(out.getvalue()) < 200_000
    resign(folder, arrays=out.getvalue())
    with pytest.raises(ModelBundleError, match=r"'onsets\.b0\.npy' is larger than stated"):
        load_bundle(folder)


def test_larger_than_any_model_may_be(folder):
    arrays = arrays_in(folder)
    arrays["onsets.b0"] = np.zeros(6_500_000)
    out = io.BytesIO()
    np.savez_compressed(out, **arrays)
    stated = manifest_of(folder)["arrays"] | {"onsets.b0": [6_500_000]}
    resign(folder, arrays=out.getvalue(), arrays_stated=stated)
    with pytest.raises(ModelBundleError, match="larger than stated"):
        load_bundle(folder)


@pytest.mark.parametrize("file, size", [("manifest.json", 1_000_001), ("arrays.npz", 16_000_001)])
def test_files_that_are_too_large(folder, file, size):
    with (folder / file).open("ab") as handle:
        handle.write(b" " * size)
    with pytest.raises(ModelBundleError, match="larger than a model may be"):
        load_bundle(folder)


def test_archive_whose_directory_lies_about_a_size(folder):
    arrays = arrays_in(folder)
    arrays["onsets.b0"] = np.zeros(1_000_000)
    out = io.BytesIO()
    np.savez_compressed(out, **arrays)
    data = bytearray(out.getvalue())
    with zipfile.ZipFile(io.BytesIO(bytes(data))) as archive:
        true_size = archive.getinfo("onsets.b0.npy").file_size
    # Both the directory and the local header now claim what eight numbers would take.
    at = data.find(struct.pack("<I", true_size))
    while at >= 0:
        data[at : at + 4] = struct.pack("<I", 128 + 64)
        at = data.find(struct.pack("<I", true_size))
    resign(folder, arrays=bytes(data))
    with pytest.raises(ModelBundleError, match=r"cannot be read|larger than stated|not as stated"):
        load_bundle(folder)


def with_raw_member(folder, name, content):
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for other, array in arrays_in(folder).items():
            buffer = io.BytesIO()
            np.lib.format.write_array(buffer, array, allow_pickle=False)
            archive.writestr(f"{other}.npy", content if other == name else buffer.getvalue())
    return out.getvalue()


class Marker:
    """Unpickled, it would set a flag."""

    ran = False

    def __reduce__(self):
        return (setattr, (Marker, "ran", True))


def test_pickled_objects_do_not_run(folder):
    buffer = io.BytesIO()
    header = {"descr": "|O", "fortran_order": False, "shape": (8,)}
    np.lib.format.write_array_header_1_0(buffer, header)
    content = buffer.getvalue() + pickle.dumps([Marker()] * 8)
    resign(folder, arrays=with_raw_member(folder, "onsets.b0", content))
    with pytest.raises(ModelBundleError, match=r"cannot be read|not as stated"):
        load_bundle(folder)
    assert Marker.ran is False


@pytest.mark.parametrize(
    "content", [b"", b"not numbers", b"\x93NUMPY\x01\x00\xff\xff"], ids=["empty", "text", "cut header"]
)
def test_members_that_are_no_arrays(folder, content):
    resign(folder, arrays=with_raw_member(folder, "onsets.b0", content))
    with pytest.raises(ModelBundleError, match=r"cannot be read|not as stated"):
        load_bundle(folder)


@pytest.mark.parametrize("claimed", [10**7, 10**12])
def test_header_that_claims_more_than_there_is(folder, claimed):
    buffer = io.BytesIO()
    np.lib.format.write_array_header_1_0(
        buffer, {"descr": "<f8", "fortran_order": False, "shape": (claimed,)}
    )
    resign(folder, arrays=with_raw_member(folder, "onsets.b0", buffer.getvalue() + bytes(64)))
    with pytest.raises(ModelBundleError, match=r"cannot be read|not as stated"):
        load_bundle(folder)


def test_manifest_that_is_nested_too_deep(folder):
    (folder / "manifest.json").write_text("[" * 400_000)
    with pytest.raises(ModelBundleError, match="manifest is not complete"):
        load_bundle(folder)


@pytest.mark.parametrize("what, offset, value", [("encrypted", 8, 1), ("unknown packing", 10, 99)])
def test_archive_that_needs_more_than_it_may(folder, what, offset, value):
    data = bytearray((folder / "arrays.npz").read_bytes())
    # Flags and method of the first entry, in the directory and in its local header.
    for signature, shift in ((b"PK\x01\x02", 0), (b"PK\x03\x04", -2)):
        at = data.find(signature) + offset + shift
        data[at] = value
    resign(folder, arrays=bytes(data))
    with pytest.raises(ModelBundleError, match="cannot be read"):
        load_bundle(folder)


def test_damaged_archives_are_refused_or_read(folder):
    whole = (folder / "arrays.npz").read_bytes()
    rng = np.random.default_rng(17)
    refused = 0
    for n in range(150):
        data = bytearray(whole)
        if n % 5 == 0:
            del data[int(rng.integers(1, len(data))) :]
        else:
            for at in rng.integers(0, len(data), 1 + n % 4):
                data[at] = int(rng.integers(0, 256))
        resign(folder, arrays=bytes(data))
        try:
            load_bundle(folder)
        except ModelBundleError:
            refused += 1
    assert refused > 100


def test_archive_that_is_none(folder):
    for data in (b"", b"PK\x03\x04 nothing", b"x" * 1000):
        resign(folder, arrays=data)
        with pytest.raises(ModelBundleError, match="cannot be read"):
            load_bundle(folder)
