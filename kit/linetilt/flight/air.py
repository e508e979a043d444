"""The air a ball flies through: its density and viscosity, and the drag and lift of a spinning ball in it."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ..base.errors import InputError
from ..base.tables import check_number

Array = NDArray[Any]
Model = Callable[[Array, Array, Array, Array | float, float], tuple[Array, Array]]

# The Equipment Rules (The R&A and USGA), Part 4: the heaviest and smallest ball, which is the one everybody plays.
BALL_MASS_KG = 0.04593
BALL_RADIUS_M = 0.042_67 / 2

_ZERO_CELSIUS_K = 273.15


@dataclass(frozen=True, kw_only=True)
class Air:
    """The air by temperature, humidity, and either pressure or altitude.

    If nothing is given it is dry, at sea level and 15 °C.

    Parameters
    ----------
    temperature_c : float
        In degrees Celsius.
    pressure_hpa : float, optional
        Pressure at the place itself (not reduced to sea level), in hPa. Zero makes a vacuum.
    altitude_m : float, optional
        Height above sea level in metres, from which the standard atmosphere's pressure follows. Give this or the
        pressure.
    humidity_percent : float
        Relative humidity, in percent.

    Examples
    --------
    >>> round(Air().density_kg_m3, 3), round(Air(altitude_m=1600, temperature_c=25).density_kg_m3, 3)
    (1.225, 0.976)

    Raises
    ------
    InputError
        When a value cannot be what it is called, or when both pressure and altitude are given.

    Notes
    -----
    Pressure by altitude and viscosity: ISO 2533:1975. Vapour pressure: WMO-No. 8. Density is that of an ideal mixture
    of dry air and vapour, 0.04 % below CIPM-2007 at 20 °C (Picard et al., Metrologia 45 (2008) 149), 0.06 % from 5 to
    35 °C.
    """

    temperature_c: float = 15.0
    pressure_hpa: float | None = None
    altitude_m: float | None = None
    humidity_percent: float = 0.0

    def __post_init__(self) -> None:
        check_number("temperature_c", self.temperature_c, -40, 60, "degrees Celsius")
        check_number("humidity_percent", self.humidity_percent, 0, 100, "percent")
        if self.pressure_hpa is not None and self.altitude_m is not None:
            raise InputError(
                "pressure_hpa and altitude_m are both given; expected one of them (altitude stands for a pressure)"
            )
        if self.pressure_hpa is not None:
            check_number("pressure_hpa", self.pressure_hpa, 0, 1100, "hPa")
        if self.altitude_m is not None:
            check_number("altitude_m", self.altitude_m, -500, 6000, "metres")

    @property
    def pressure_pa(self) -> float:
        """Pressure at the place, in Pa."""
        if self.pressure_hpa is not None:
            return 100.0 * self.pressure_hpa
        return 101_325.0 * (1.0 - 0.0065 * (self.altitude_m or 0.0) / 288.15) ** 5.255_88

    @property
    def density_kg_m3(self) -> float:
        """Density, in kg/m³."""
        kelvin = self.temperature_c + _ZERO_CELSIUS_K
        saturated_pa = 611.2 * np.exp(17.62 * self.temperature_c / (243.12 + self.temperature_c))
        vapour_pa = min(self.humidity_percent / 100.0 * saturated_pa, self.pressure_pa)
        return float((self.pressure_pa - vapour_pa) / (287.052_87 * kelvin) + vapour_pa / (461.523 * kelvin))

    @property
    def viscosity_pa_s(self) -> float:
        """Dynamic viscosity, in Pa s."""
        kelvin = self.temperature_c + _ZERO_CELSIUS_K
        return 1.458e-6 * kelvin**1.5 / (kelvin + 110.4)

    @property
    def reynolds_per_m_s(self) -> float:
        """Reynolds number of the ball at 1 m/s, in units of 100 000."""
        return self.density_kg_m3 * 2 * BALL_RADIUS_M / self.viscosity_pa_s / 1e5

    @property
    def pull_per_m(self) -> float:
        """Acceleration by a force coefficient of 1 at 1 m/s, in 1/m: half the density × section / mass of the ball."""
        return 0.5 * self.density_kg_m3 * np.pi * BALL_RADIUS_M**2 / BALL_MASS_KG


SEA_LEVEL = Air()

# Each model takes the squared speed, the speed, the surface speed by spin (all in one unit), the Reynolds number in
# units of 100 000 for a speed of 1 in that unit, and a factor; it returns factor * C_D * speed and factor * C_L *
# speed. The first one is worked in place, since it is where the time of a simulation goes; it may overwrite the squared
# speed.


def closed_form(
    speed2: Array, speed: Array, surface: Array, reynolds: Array | float, factor: float
) -> tuple[Array, Array]:
    """Closed form fitted to the Bearman & Harvey table: rms 0.007 in C_D and in C_L from 25 to 64 m/s.

    Carry of a mid iron within 2.5 % of interpolating the table; of a wedge, whose spin is beyond the table, within 5 %.
    """
    drag = surface * surface
    speed2 *= 0.235
    speed2 += drag
    drag /= speed2
    drag *= factor * 0.284
    drag += factor * 0.287
    lift = speed * reynolds
    lift *= factor * -0.0271
    drag += lift
    drag *= speed
    lift *= 0.0936 / 0.0271
    lift += factor * 0.581
    lift *= surface
    lift *= speed
    np.multiply(speed, 0.155, out=speed2)
    speed2 += surface
    lift /= speed2
    return drag, lift


def smits_smith(
    speed2: Array, speed: Array, surface: Array, reynolds: Array | float, factor: float
) -> tuple[Array, Array]:
    """Smits & Smith, Science and Golf II (1994) 340-347, second-hand."""
    spin = surface / speed
    drag = 0.24 + 0.18 * spin + 0.06 * np.sin(np.pi * (speed * reynolds - 0.9) / 2.0)
    return factor * drag * speed, factor * 0.54 * spin**0.4 * speed


def table(speed2: Array, speed: Array, surface: Array, reynolds: Array | float, factor: float) -> tuple[Array, Array]:
    """The Bearman & Harvey table, interpolated in both directions; beyond its edges the value at the edge holds."""
    column_speed = speed * reynolds * (1e5 * _TABLE_VISCOSITY_M2_S / (2 * _TABLE_RADIUS_M))
    row_spin = surface / speed * column_speed / _TABLE_RADIUS_M * (30 / np.pi)
    row = np.clip((row_spin - _TABLE_RPM[0]) / (_TABLE_RPM[1] - _TABLE_RPM[0]), 0, len(_TABLE_RPM) - 1)
    column = np.interp(column_speed, _TABLE_M_S, np.arange(len(_TABLE_M_S)))
    i, j = np.minimum(row.astype(int), len(_TABLE_RPM) - 2), np.minimum(column.astype(int), len(_TABLE_M_S) - 2)
    down, right = row - i, column - j
    drag, lift = (
        (1 - down) * ((1 - right) * grid[i, j] + right * grid[i, j + 1])
        + down * ((1 - right) * grid[i + 1, j] + right * grid[i + 1, j + 1])
        for grid in (_TABLE_DRAG, _TABLE_LIFT)
    )
    return factor * drag * speed, factor * lift * speed


MODELS: dict[str, Model] = {"closed form": closed_form, "Smits & Smith": smits_smith, "table": table}


def model_called(name: str) -> Model:
    """Return the model of that name, or raise InputError."""
    if name not in MODELS:
        raise InputError(f"model is {name!r}; expected one of {', '.join(repr(known) for known in MODELS)}")
    return MODELS[name]


def coefficients(
    speed_m_s: ArrayLike, spin_rpm: ArrayLike, *, model: str = "closed form", air: Air = SEA_LEVEL
) -> tuple[Array, Array]:
    """Return the drag and lift coefficients of a ball by speed (m/s, through the air) and spin (rpm), as two arrays.

    Examples
    --------
    >>> drag, lift = coefficients(45, 4000)
    >>> float(drag.round(2)[0]), float(lift.round(2)[0])
    (0.29, 0.26)
    """
    speed, spin = np.broadcast_arrays(np.asarray(speed_m_s, float), np.asarray(spin_rpm, float))
    surface = BALL_RADIUS_M * spin * (np.pi / 30)
    drag, lift = model_called(model)(np.atleast_1d(speed * speed), speed, surface, air.reynolds_per_m_s, 1.0)
    return drag / speed, lift / speed


# Bearman & Harvey, Aeronautical Quarterly 27 (1976) 112-122, figures 7 and 8, digitised: the third digit is not
# measurement. A row a spin, a column a speed, computed there with a diameter of 0.041 m and a kinematic viscosity of
# 1.5e-5 m²/s.
_TABLE_RADIUS_M, _TABLE_VISCOSITY_M2_S = 0.0205, 1.5e-5
_TABLE_M_S = np.array([13.7, 21.6, 29.9, 38.4, 46.9, 55.2, 63.1, 71.9, 80.2, 88.1])
_TABLE_RPM = np.arange(2000.0, 6001.0, 200.0)


def _table(text: str) -> Array:
    return np.array(text.split(), float).reshape(len(_TABLE_RPM), len(_TABLE_M_S))


_TABLE_DRAG = _table(
    """
    0.3624 0.2885 0.2765 0.2529 0.2472 0.2481 0.2467 0.2470 0.2470 0.2470
    0.3806 0.3102 0.2853 0.2590 0.2507 0.2498 0.2485 0.2486 0.2484 0.2484
    0.3954 0.3288 0.2937 0.2649 0.2543 0.2516 0.2504 0.2502 0.2497 0.2497
    0.4070 0.3443 0.3018 0.2708 0.2580 0.2535 0.2522 0.2518 0.2511 0.2511
    0.4153 0.3566 0.3095 0.2765 0.2617 0.2556 0.2541 0.2534 0.2524 0.2524
    0.4203 0.3658 0.3169 0.2822 0.2655 0.2578 0.2560 0.2550 0.2538 0.2538
    0.4120 0.3719 0.3240 0.2876 0.2693 0.2602 0.2579 0.2566 0.2551 0.2551
    0.3960 0.3749 0.3308 0.2930 0.2732 0.2627 0.2599 0.2582 0.2565 0.2565
    0.3876 0.3766 0.3372 0.2983 0.2772 0.2653 0.2619 0.2598 0.2578 0.2578
    0.4100 0.3854 0.3433 0.3034 0.2811 0.2681 0.2639 0.2614 0.2592 0.2592
    0.4288 0.4003 0.3490 0.3084 0.2852 0.2710 0.2659 0.2630 0.2605 0.2605
    0.4445 0.4082 0.3544 0.3133 0.2893 0.2741 0.2680 0.2646 0.2619 0.2619
    0.4575 0.4153 0.3595 0.3180 0.2934 0.2772 0.2701 0.2662 0.2632 0.2632
    0.4682 0.4215 0.3643 0.3227 0.2976 0.2806 0.2722 0.2678 0.2646 0.2646
    0.4772 0.4269 0.3687 0.3272 0.3019 0.2840 0.2743 0.2694 0.2659 0.2659
    0.4848 0.4314 0.3728 0.3316 0.3062 0.2876 0.2765 0.2710 0.2673 0.2673
    0.4914 0.4350 0.3765 0.3358 0.3105 0.2913 0.2787 0.2726 0.2686 0.2686
    0.4976 0.4377 0.3799 0.3400 0.3149 0.2952 0.2809 0.2742 0.2700 0.2700
    0.5039 0.4395 0.3830 0.3440 0.3194 0.2992 0.2831 0.2758 0.2713 0.2713
    0.5105 0.4405 0.3858 0.3479 0.3239 0.3034 0.2854 0.2774 0.2727 0.2727
    0.5180 0.4406 0.3882 0.3517 0.3285 0.3076 0.2877 0.2790 0.2740 0.2740
    """
)
_TABLE_LIFT = _table(
    """
    0.1040 0.1846 0.2460 0.1984 0.1762 0.1538 0.1418 0.1360 0.1280 0.1276
    0.1936 0.2318 0.2590 0.2089 0.1824 0.1603 0.1476 0.1405 0.1321 0.1324
    0.2608 0.2694 0.2715 0.2191 0.1886 0.1668 0.1533 0.1450 0.1362 0.1367
    0.3090 0.2986 0.2835 0.2289 0.1949 0.1731 0.1589 0.1494 0.1403 0.1404
    0.3418 0.3205 0.2947 0.2384 0.2011 0.1794 0.1646 0.1539 0.1444 0.1436
    0.3624 0.3362 0.3049 0.2475 0.2073 0.1856 0.1702 0.1584 0.1485 0.1464
    0.3743 0.3470 0.3140 0.2562 0.2135 0.1916 0.1757 0.1629 0.1526 0.1488
    0.3808 0.3541 0.3217 0.2644 0.2197 0.1976 0.1813 0.1673 0.1567 0.1508
    0.3854 0.3584 0.3280 0.2722 0.2259 0.2035 0.1868 0.1718 0.1608 0.1524
    0.3915 0.3614 0.3325 0.2795 0.2322 0.2092 0.1923 0.1763 0.1649 0.1539
    0.4005 0.3640 0.3347 0.2862 0.2384 0.2149 0.1977 0.1807 0.1690 0.1582
    0.4010 0.3696 0.3380 0.2925 0.2446 0.2205 0.2032 0.1852 0.1731 0.1624
    0.4026 0.3748 0.3412 0.2982 0.2508 0.2259 0.2086 0.1897 0.1772 0.1666
    0.4050 0.3797 0.3440 0.3033 0.2570 0.2313 0.2139 0.1941 0.1813 0.1707
    0.4084 0.3845 0.3468 0.3078 0.2632 0.2366 0.2193 0.1986 0.1854 0.1749
    0.4130 0.3894 0.3496 0.3119 0.2695 0.2418 0.2246 0.2031 0.1895 0.1791
    0.4192 0.3947 0.3527 0.3149 0.2757 0.2469 0.2298 0.2076 0.1936 0.1833
    0.4271 0.4004 0.3563 0.3184 0.2819 0.2518 0.2351 0.2120 0.1977 0.1875
    0.4371 0.4069 0.3607 0.3233 0.2881 0.2567 0.2403 0.2165 0.2018 0.1916
    0.4494 0.4143 0.3660 0.3300 0.2943 0.2615 0.2455 0.2210 0.2059 0.1958
    0.4644 0.4227 0.3724 0.3393 0.3005 0.2662 0.2507 0.2254 0.2100 0.2000
    """
)
