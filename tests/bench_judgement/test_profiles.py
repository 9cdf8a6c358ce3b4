"""Machine profiles: strict, plain-spoken, and never more certain than they are."""

from __future__ import annotations

from pathlib import Path

import pytest

from listen.bench import bundled_machines, load_machine, unknown_machine
from listen.errors import ProfileError

GOOD = (
    'name = "Corner bench"\npump = "rotary"\n[gauges]\nboiler_band_bar = [0.9, 1.3]\nboiler_red_bar = 1.6\n'
)


def write(folder: Path, text: str) -> Path:
    path = folder / "machine.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_a_good_profile(tmp_path: Path) -> None:
    machine = load_machine(write(tmp_path, GOOD))
    assert machine.name == "Corner bench" and machine.boiler_band_bar == (0.9, 1.3)
    assert machine.group is None and machine.known() == {
        "pump": "rotary",
        "boiler_band_bar": (0.9, 1.3),
        "boiler_red_bar": 1.6,
    }
    assert load_machine(str(write(tmp_path, GOOD))) == machine


@pytest.mark.parametrize("name", bundled_machines())
def test_bundled_profiles_load(name: str) -> None:
    assert load_machine(name).name


def test_an_unknown_machine_knows_nothing() -> None:
    assert unknown_machine().known() == {}


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("", "'name' is missing"),
        ('name = ""', "1 to 80"),
        ("name = 3", "must be a text"),
        (GOOD.replace("pump", "pmup"), "unknown key 'pmup'"),
        (GOOD.replace("rotary", "steam"), "must be one of rotary"),
        ('name = "x"\nmains_hz = 55', "one of 50, 60"),
        ('name = "x"\nmains_hz = true', "whole number"),
        ('name = "x"\nvacuum_valve = "yes"', "true or false"),
        (GOOD.replace("[0.9, 1.3]", "[1.3, 0.9]"), "low below high"),
        (GOOD.replace("[0.9, 1.3]", "[0.9]"), "low below high"),
        (GOOD.replace("1.6", "1.2"), "above the top"),
        (GOOD.replace("1.6", "160"), "cannot be right"),
        (GOOD + "boiler_read_bar = 1\n", "unknown key 'boiler_read_bar'"),
        ('name = "x"\npump = "rotary"\ngroup = "manual_lever"', "by hand"),
        ("name = ", "not valid TOML"),
    ],
)
def test_bad_profiles_are_refused_in_plain_words(tmp_path: Path, text: str, why: str) -> None:
    with pytest.raises(ProfileError, match=why):
        load_machine(write(tmp_path, text))


def test_no_such_profile(tmp_path: Path) -> None:
    with pytest.raises(ProfileError, match="demo-lever-plumbed"):
        load_machine("nowhere")
    with pytest.raises(ProfileError, match="give a TOML file"):
        load_machine(tmp_path)
    (tmp_path / "big.toml").write_text("#" * 100_001)
    with pytest.raises(ProfileError, match="too large"):
        load_machine(tmp_path / "big.toml")
    (tmp_path / "raw.toml").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(ProfileError, match="not valid TOML"):
        load_machine(tmp_path / "raw.toml")
