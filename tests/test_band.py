"""The band in a true map of ink, drawn by `tests/faces`: how far its stated uncertainty is its error."""

import numpy as np
import pytest
from faces.ink import draw_print
from linetilt.reading.evidence import Why
from linetilt.reading.ink.band import fit_band
from test_prints import LINES, RATE, U, V, face


@pytest.fixture(scope="module")
def readings():
    """(error, u) of the lean in degrees of drawn prints, (N, 2), sharpest first; the pen's wobble and the holes are the
    error."""
    found, clear = [], face().clear
    for seed in range(240):
        mark = draw_print(
            np.random.default_rng([seed, 4]), shape=(len(V), len(U)), u0=U[0], v0=V[0], ppm=RATE, score_lines_v=LINES
        )
        slope = np.tan(np.radians(mark.tilt_deg))
        band = fit_band(mark.coverage, U, V, clear, slope, mark.toe_mm, mark.up_mm, mark.width_mm / 2 + 1.4)
        if isinstance(band, Why):
            continue
        found.append((np.degrees(np.arctan(band.slope)) - mark.tilt_deg, np.degrees(band.u_slope)))
    found = np.array(found)
    return found[np.argsort(found[:, 1])]


@pytest.mark.parametrize("part", ["sharp", "patchy"])
def test_the_interval_holds_the_truth_of_sharp_prints_and_of_patchy_ones(readings, part):
    """JCGM 100, 6.3.3: k = 2 makes an interval of about 95 %, where the errors are near normal and u is their standard
    deviation."""
    error, u = (readings[: len(readings) // 2] if part == "sharp" else readings[len(readings) // 2 :]).T
    assert len(u) > 110
    assert np.mean(np.abs(error) < 2 * u) > 0.9
    assert 0.65 < np.sqrt(np.mean((error / u) ** 2)) < 1.2
