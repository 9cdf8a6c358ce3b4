"""The one ordered table of texture measurements; a model bundle stores it and is refused if it differs."""

from __future__ import annotations

_BANDS = ("100", "125", "160", "200", "250", "315", "400", "500", "630", "800", "1k", "1k25", "1k6", "2k",
          "2k5", "3k15", "4k", "5k", "6k3", "8k", "10k", "12k5", "16k")  # fmt: skip
_GROUPS = ("100_250", "315_630", "800_1k6", "2k_4k", "5k_8k", "10k_16k")
_FLATS = ("0k3_1k", "1k_4k", "4k_14k")

TEXTURE_NAMES: tuple[str, ...] = (
    *(f"shape_{band}_db" for band in _BANDS),
    *(f"rise_{group}_db" for group in _GROUPS),
    *(f"slope_{group}_db_per_s" for group in _GROUPS),
    *(f"moving_{group}_db" for group in _GROUPS),
    *(f"flat_{span}_db" for span in _FLATS),
    *(f"flat_moving_{span}_db" for span in _FLATS),
    "tone_mean_db", "tone_high_db", "tone_wander_octaves",
    "crest_mean_db", "crest_max_db", "spread_mean_db",
    "modulation_1_3", "modulation_3_7", "modulation_7_15", "modulation_15_31", "modulation_db", "modulation_peak",
    "onset_count", "onset_rise_db", "onset_decay_ms", "onset_centroid_khz",
    "locked_even_n", "locked_odd_n", "locked_even_over_db", "locked_odd_over_db", "shaft_n", "shaft_share",
)  # fmt: skip
