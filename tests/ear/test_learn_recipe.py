"""The training recipe: read from TOML, unknown or missing entries refused."""

import pytest

from listen.errors import BadParameter
from listen.learn.recipe import load_recipe
from listen.resources import shipped
from listen.vocabulary import SOUNDS

GOOD = """
version = "9"
seed = 3
scenes_per_family = 2
no_machine_scenes = 1
single_scenes = 3
long_families = ["normal_brew"]
long_scenes = 1

[textures]
labels = ["hiss", "boil"]
hidden = [6, 4]
alpha = 0.01
epochs = 3
least_snr_db = 3.0

[onsets]
labels = ["click", "other"]
hidden = [4]
alpha = 0.01
epochs = 3
least_snr_db = 0.0
match_s = 0.05
"""


@pytest.fixture
def write(tmp_path):
    def write(text):
        path = tmp_path / "mine.toml"
        path.write_text(text, encoding="utf-8")
        return path

    return write


def test_good_recipe(write):
    recipe = load_recipe(write(GOOD))
    assert (recipe.version, recipe.seed, recipe.scenes_per_family, recipe.no_machine_scenes) == ("9", 3, 2, 1)
    assert recipe.textures.labels == ("hiss", "boil") and recipe.textures.hidden == (6, 4)
    assert recipe.onsets.match_s == 0.05 and recipe.textures.match_s == 0.03
    with pytest.raises(AttributeError):
        recipe.seed = 4


def test_shipped_recipe_is_read():
    recipe = load_recipe(shipped("models") / "recipe.toml")
    for part in (recipe.textures, recipe.onsets):
        assert set(part.labels) <= set(SOUNDS) and len(set(part.labels)) == len(part.labels)
    # The ear asks the part for onsets for this word by name.
    assert "click" in recipe.onsets.labels
    assert "hiss" in recipe.textures.labels


@pytest.mark.parametrize("text, message", [
    (GOOD.replace("seed = 3", "seed = 3\nspeed = 4"),
     r"unknown entry 'speed' in its top level: known are bent_share"),
    (GOOD.replace("hidden = [4]", "hidden = [4]\nhiden = [4]"), r"unknown entry 'hiden' in \[onsets\]"),
    (GOOD.replace("seed = 3\n", ""), r"lacks an entry in its top level: .*'seed'"),
    (GOOD.replace("alpha = 0.01\nepochs = 3\nleast_snr_db = 3.0", "alpha = 0.01"),
     r"lacks an entry in \[textures\].*epochs"),
    (GOOD.replace('"boil"', '"boiling"'), r"\[textures\] names 'boiling', which is no word of the ear"),
    (GOOD.split("[onsets]")[0], r"lacks an entry in \[onsets\]"),
    ("seed = [", r"'mine\.toml' cannot be read"),
])  # fmt: skip
def test_bad_recipe(write, text, message):
    with pytest.raises(BadParameter, match=message):
        load_recipe(write(text))


def test_missing_recipe(tmp_path):
    with pytest.raises(BadParameter, match=r"'none\.toml' cannot be read"):
        load_recipe(tmp_path / "none.toml")
