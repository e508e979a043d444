"""How far the kit's landings are from an integration to 1e-10, over the whole domain: `python
tests/bench/flight_accuracy.py`."""

import sys
from itertools import product
from pathlib import Path

import numpy as np

sys.path[:0] = [str(Path(__file__).parents[1]), str(Path(__file__).parents[2] / "kit")]

from flight_reference import EXACT, closed_form, fly_one, smits_smith
from linetilt import fly

RANGES = ((15, 80), (3, 55), (500, 11_000), (-20, 20))
MODELS = {"closed form": closed_form, "Smits & Smith": smits_smith}


def worst(shots, winds, model):
    """Return the largest and the median distance between landing points, in metres, and the shot with the largest."""
    misses = []
    for shot, wind in zip(shots, winds):
        speed, up, rpm, tilt = shot
        end, _ = fly_one(speed, up, 0.0, rpm, tilt, wind, MODELS[model], **EXACT)
        ours = fly(ball_speed_m_s=speed, launch_deg=up, spin_rpm=rpm, axis_tilt_deg=tilt, wind_m_s=wind, model=model)
        misses.append(np.hypot(ours.carry_m - end[0], ours.offline_m - end[1]))
    return max(misses), np.median(misses), shots[int(np.argmax(misses))]


def main():
    random = np.random.default_rng(11)
    corners = np.array(list(product((15, 25, 40, 60, 80), (3, 20, 55), (500, 5000, 11_000), (-20, 0, 20))), float)
    anywhere = np.column_stack([random.uniform(low, high, 600) for low, high in RANGES])
    angle, strength = random.uniform(0, 2 * np.pi, 600), 10 * np.sqrt(random.uniform(0, 1, 600))
    blowing = np.column_stack([strength * np.cos(angle), strength * np.sin(angle), 0 * angle])
    cases = [("grid, still air", corners, np.zeros((len(corners), 3)), "closed form")]
    for name, wind in (("tail wind 10", (10, 0, 0)), ("head wind 10", (-10, 0, 0)), ("cross wind 10", (0, 10, 0))):
        cases.append((f"grid, {name} m/s", corners, np.tile(wind, (len(corners), 1)), "closed form"))
    cases.append(("anywhere, any wind to 10 m/s", anywhere, blowing, "closed form"))
    cases.append(("anywhere, any wind to 10 m/s", anywhere[:200], blowing[:200], "Smits & Smith"))
    print(
        "| shots | model | number | largest miss (m) | median miss (m) | worst at (m/s, °, rpm, axis °) "
        "|\n|---|---|---|---|---|---|"
    )
    for name, shots, winds, model in cases:
        most, middle, where = worst(shots, winds, model)
        print(
            f"| {name} | {model} | {len(shots)} | {most:.4f} | {middle:.5f} | "
            f"{', '.join(f'{value:.0f}' for value in where)} |"
        )


if __name__ == "__main__":
    main()
