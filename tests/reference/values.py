"""Values from outside the project, each with its source; tests import them, the product does not.

'Computed' means computed by hand from the cited formula, not by this project's code.
"""

from __future__ import annotations

#: Third-octave bands: index k → (lower edge, exact mid-band, upper edge), Hz.
#: IEC 61260-1:2014, base-ten system (mid-band 1000·10^(k/10), edges at mid-band·10^(±1/20)),
#: nominal frequencies as in ISO 266:1997; computed and rounded to four decimals.
THIRD_OCTAVES_HZ: dict[int, tuple[float, float, float]] = {
    -16: (22.3872, 25.1189, 28.1838),
    -15: (28.1838, 31.6228, 35.4813),
    -14: (35.4813, 39.8107, 44.6684),
    -13: (44.6684, 50.1187, 56.2341),
    -12: (56.2341, 63.0957, 70.7946),
    -11: (70.7946, 79.4328, 89.1251),
    -10: (89.1251, 100.0, 112.2018),
    -9: (112.2018, 125.8925, 141.2538),
    -8: (141.2538, 158.4893, 177.8279),
    -7: (177.8279, 199.5262, 223.8721),
    -6: (223.8721, 251.1886, 281.8383),
    -5: (281.8383, 316.2278, 354.8134),
    -4: (354.8134, 398.1072, 446.6836),
    -3: (446.6836, 501.1872, 562.3413),
    -2: (562.3413, 630.9573, 707.9458),
    -1: (707.9458, 794.3282, 891.2509),
    0: (891.2509, 1000.0, 1122.0185),
    1: (1122.0185, 1258.9254, 1412.5375),
    2: (1412.5375, 1584.8932, 1778.2794),
    3: (1778.2794, 1995.2623, 2238.7211),
    4: (2238.7211, 2511.8864, 2818.3829),
    5: (2818.3829, 3162.2777, 3548.1339),
    6: (3548.1339, 3981.0717, 4466.8359),
    7: (4466.8359, 5011.8723, 5623.4133),
    8: (5623.4133, 6309.5734, 7079.4578),
    9: (7079.4578, 7943.2823, 8912.5094),
    10: (8912.5094, 10000.0, 11220.1845),
    11: (11220.1845, 12589.2541, 14125.3754),
    12: (14125.3754, 15848.9319, 17782.7941),
}

#: White noise gains this per third octave: 10·log10(10^0.1). Computed from IEC 61260-1:2014's band ratio.
WHITE_NOISE_DB_PER_BAND = 1.0

#: (mains Hz, poles) → synchronous speed in turns a minute, n = 120 f / p. Any electrical handbook.
SYNCHRONOUS_RPM: dict[tuple[int, int], int] = {
    (50, 2): 3000, (50, 4): 1500, (50, 6): 1000, (60, 2): 3600, (60, 4): 1800, (60, 6): 1200,
}  # fmt: skip

#: (mains Hz, poles, slip) → shaft rate in Hz, computed from 120 f / p · (1 − s) / 60. The slips are
#: handbook values of loaded induction motors: 2 to 8 % at rated load for ordinary motors, about 5 %
#: at half a horsepower (Engineering ToolBox, table 'electrical motor slip').
SHAFT_HZ: dict[tuple[int, int, float], float] = {
    (50, 2, 0.02): 49.0, (50, 2, 0.05): 47.5, (50, 2, 0.08): 46.0,
    (50, 4, 0.02): 24.5, (50, 4, 0.05): 23.75, (50, 4, 0.08): 23.0,
    (50, 6, 0.02): 16.33, (50, 6, 0.05): 15.83, (50, 6, 0.08): 15.33,
    (60, 2, 0.02): 58.8, (60, 2, 0.05): 57.0, (60, 2, 0.08): 55.2,
    (60, 4, 0.02): 29.4, (60, 4, 0.05): 28.5, (60, 4, 0.08): 27.6,
    (60, 6, 0.02): 19.6, (60, 6, 0.05): 19.0, (60, 6, 0.08): 18.4,
}  # fmt: skip

#: Worked example of an online slip calculator: 60 Hz, 4 poles, 1746 turns a minute is a slip of 3.0 %.
WORKED_RPM, WORKED_MAINS_HZ, WORKED_POLES, WORKED_SLIP = 1746.0, 60, 4, 0.030

#: Public supply stays within these for 99.5 % of a year, Hz (EN 50160, as summarised in two manuals;
#: the standard itself was not read). For 60 Hz the same ±1 % is taken.
MAINS_RANGE_HZ: dict[int, tuple[float, float]] = {50: (49.5, 50.5), 60: (59.4, 60.6)}

#: Bands of speech codecs, Hz: narrow band (3GPP AMR), wide band (3GPP TS 26.190 / ITU-T G.722.2).
NARROW_BAND_HZ, WIDE_BAND_HZ = (300.0, 3400.0), (50.0, 7000.0)

#: Onset tolerance of the music information retrieval evaluations, s: default of mir_eval.onset.f_measure.
ONSET_WINDOW_S = 0.05

#: Wilson score intervals at 95 %, (hits, n) → (lower, upper). 81/263 and 15/148 are the worked examples
#: of R. G. Newcombe, Statistics in Medicine 17 (1998) 857-872 (citation from memory); numbers computed.
WILSON_95: dict[tuple[int, int], tuple[float, float]] = {
    (81, 263): (0.2553, 0.3662),
    (15, 148): (0.0624, 0.1605),
    (9, 10): (0.5958, 0.9821),
    (10, 10): (0.7225, 1.0),
    (0, 10): (0.0, 0.2775),
    (45, 50): (0.7864, 0.9565),
}
