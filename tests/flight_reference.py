"""An integration of one golf shot that shares no code with the kit: scalars, `math`, scipy's `solve_ivp`."""

import math

from scipy.integrate import solve_ivp

MASS, RADIUS, GRAVITY = 0.04593, 0.021335, 9.80665  # The Equipment Rules, Part 4; ISO 80000-3
DENSITY, VISCOSITY = 1.225, 1.458e-6 * 288.15**1.5 / (288.15 + 110.4)  # ISO 2533, sea level


def closed_form(spin, reynolds):
    """Drag and lift by the spin ratio and the Reynolds number in units of 100 000 (closed form of the Bearman & Harvey
    table)."""
    return (
        0.287 + 0.284 * spin * spin / (spin * spin + 0.235) - 0.0271 * reynolds,
        (0.581 - 0.0936 * reynolds) * spin / (spin + 0.155),
    )


def smits_smith(spin, reynolds):
    """Drag and lift by Smits & Smith, Science and Golf II (1994) 340-347, second-hand."""
    return 0.24 + 0.18 * spin + 0.06 * math.sin(math.pi * (reynolds - 0.9) / 2), 0.54 * spin**0.4


def fly_one(speed, launch, azimuth, rpm, tilt, wind=(0.0, 0.0, 0.0), coefficients=closed_form, **settings):
    """Return (x, y, z, vx, vy, vz, surface speed by spin) and the time at landing; `settings` go to `solve_ivp`."""
    up, left, lean = map(math.radians, (launch, azimuth, tilt))
    cu, su, cl, sl, ct, st = math.cos(up), math.sin(up), math.cos(left), math.sin(left), math.cos(lean), math.sin(lean)
    ax, ay, az = ct * sl - st * su * cl, -ct * cl - st * su * sl, st * cu
    wx, wy, wz = wind
    pull = 0.5 * DENSITY * math.pi * RADIUS**2 / MASS
    per_speed = 2 * RADIUS * DENSITY / VISCOSITY / 1e5

    def rates(_, state):
        _, _, _, vx, vy, vz, surface = state
        ux, uy, uz = vx - wx, vy - wy, vz - wz
        speed = math.sqrt(ux * ux + uy * uy + uz * uz)
        drag, lift = coefficients(surface / speed, per_speed * speed)
        drag, lift = pull * drag * speed, pull * lift * speed
        return (
            vx,
            vy,
            vz,
            -drag * ux + lift * (ay * uz - az * uy),
            -drag * uy + lift * (az * ux - ax * uz),
            -drag * uz + lift * (ax * uy - ay * ux) - GRAVITY,
            -2.0e-5 / RADIUS * speed * surface,
        )

    def ground(_, state):
        return state[2]

    ground.terminal, ground.direction = True, -1
    start = (0.0, 0.0, 0.0, speed * cu * cl, speed * cu * sl, speed * su, RADIUS * rpm * math.pi / 30)
    solution = solve_ivp(rates, (0.0, 40.0), start, events=ground, **settings)
    return solution.y_events[0][-1], solution.t_events[0][-1]


EXACT = {"method": "DOP853", "rtol": 1e-10, "atol": 1e-10}
