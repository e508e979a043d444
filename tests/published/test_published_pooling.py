"""Pooling against published worked examples. Each is a limit of the model: scatters known or profiled, Gaussian shots,
wide priors."""

import math
from pathlib import Path

import linetilt as lt
import numpy as np
import pandas as pd
import pytest
from linetilt.lie.pool import pool

HERE = Path(__file__).parent
integrate, optimize, stats = (pytest.importorskip(f"scipy.{name}") for name in ("integrate", "optimize", "stats"))


def known(shot, club, **changes):
    """Priors that know both scatters, with Gaussian shots and next to nothing said about offset and slope."""
    return lt.lie.Priors(
        **(
            {
                "shot_scatter_deg": shot,
                "shot_scatter_log_sd": 0,
                "club_scatter_deg": club,
                "club_scatter_log_sd": 0,
                "shot_dof": math.inf,
                "offset_sd_deg": 1e3,
                "slope_sd_deg_per_in": 1e3,
                "odd_probability": 0,
            }
            | changes
        )
    )


def table(club, value, u):
    return pd.DataFrame({"club": np.asarray(club).astype(str), "lie_error_deg": value, "u_lie_error_deg": u})


def bag_of(labels, length_in=37.0):
    return lt.Bag(
        [
            lt.Club(label=str(label), loft_deg=34, length_in=length)
            for label, length in zip(labels, np.broadcast_to(length_in, len(labels)))
        ]
    )


def best_scatters(readings, bag, start, slope_sd=1e-9):
    """Shot and club scatter of highest evidence: restricted maximum likelihood, since offset (and slope) have flat
    priors."""

    def cost(logs):
        return -lt.fit_bag(readings, bag, priors=known(*np.exp(logs), slope_sd_deg_per_in=slope_sd)).log_evidence

    return np.exp(
        optimize.minimize(cost, np.log(start), method="Nelder-Mead", options={"xatol": 1e-5, "fatol": 1e-9}).x
    )


class TestBcgTrials:
    """13 trials of BCG vaccine: Colditz et al., JAMA 271 (1994) 698, as printed by R's metafor (Viechtbauer, J. Stat.
    Softw. 36(3) (2010)).

    A trial is a club with one ball, its log risk ratio the reading, its sampling variance the photo's, latitude the
    length.
    """

    data = pd.read_csv(HERE / "bcg_trials.csv")
    a, b, c, d = data.iloc[:, :4].to_numpy(float).T  # cases and others, vaccinated; cases and others, control
    value = np.log(a / (a + b) / (c / (c + d)))
    u = np.sqrt(1 / a - 1 / (a + b) + 1 / c - 1 / (c + d))
    readings = table(data.index, value, u)
    inches = 20 + data["latitude_deg"] / 2  # a length that a club may have: an inch for 2° of latitude
    bag = bag_of(data.index, inches)
    nearly_none = 1e-6  # shot scatter: a trial's variance is all there is

    def tau2(self, slope_sd):
        def cost(tau):
            return -lt.fit_bag(
                self.readings, self.bag, priors=known(self.nearly_none, tau, slope_sd_deg_per_in=slope_sd)
            ).log_evidence

        return optimize.minimize_scalar(cost, bounds=(0.05, 1.5), method="bounded", options={"xatol": 1e-7}).x ** 2

    def test_without_latitude(self):
        tau2 = self.tau2(slope_sd=1e-9)
        assert tau2 == pytest.approx(0.3132, abs=5e-5)
        trend = lt.fit_bag(
            self.readings, self.bag, priors=known(self.nearly_none, math.sqrt(tau2), slope_sd_deg_per_in=1e-9)
        ).trend
        assert trend["offset_deg"] == pytest.approx(-0.7145, abs=5e-5)
        assert trend["u_offset_deg"] == pytest.approx(0.1798, abs=5e-5)

    def test_with_latitude(self):
        tau2 = self.tau2(slope_sd=1e3)
        assert tau2 == pytest.approx(0.0764, abs=5e-5)
        fit = lt.fit_bag(self.readings, self.bag, priors=known(self.nearly_none, math.sqrt(tau2)))
        assert fit.trend["slope_deg_per_in"] / 2 == pytest.approx(-0.0291, abs=5e-5)
        assert fit.trend["u_slope_deg_per_in"] / 2 == pytest.approx(0.0072, abs=5e-5)
        at_equator = fit.trend["offset_deg"] + fit.trend["slope_deg_per_in"] * (
            20.0 - 37.0
        )  # the kit's offset is at 37 in
        assert at_equator == pytest.approx(0.2515, abs=1e-4)


class TestDyestuff:
    """Six batches of five: Davies & Goldsmith, Statistical Methods in Research and Production (1972), as printed by R's
    lme4. Data from memory."""

    data = pd.read_csv(HERE / "dyestuff.csv")
    unit = 50.0  # grams a degree
    readings = table(data["batch"], (data["yield_g"] - 1500) / unit, 1e-6)
    bag = bag_of(sorted(set(data["batch"])))

    def test_scatters(self):
        shot, club = best_scatters(self.readings, self.bag, (0.8, 0.8))
        assert shot * self.unit == pytest.approx(49.5101, abs=0.01)
        assert club * self.unit == pytest.approx(42.0006, abs=0.02)

    def test_batches(self):
        fit = lt.fit_bag(
            self.readings, self.bag, priors=known(49.5101 / self.unit, 42.0006 / self.unit, slope_sd_deg_per_in=1e-9)
        )
        assert 1500 + self.unit * fit.trend["offset_deg"] == pytest.approx(1527.5, abs=1e-3)
        printed = [-17.6068514, 0.3912634, 28.5622256, -23.0845385, 56.7331877, -44.9952868]
        assert self.unit * fit.table["own_deg"].to_numpy() == pytest.approx(printed, abs=2e-3)


def test_nist_strd_sirstv():
    """NIST Statistical Reference Datasets, one-way analysis of variance, SiRstv; data from memory, they reproduce the
    certified values.

    Balanced and with F above 1, restricted maximum likelihood has the within mean square for the shots, (F - 1) / 5 of
    it for the clubs.
    """
    resistivity = np.array(
        [
            [196.3052, 196.1240, 196.1890, 196.2569, 196.3403],
            [196.3042, 196.3825, 196.1669, 196.3257, 196.0422],
            [196.1303, 196.2005, 196.2889, 196.0343, 196.1811],
            [196.2795, 196.1748, 196.1494, 196.1485, 195.9885],
            [196.2119, 196.1051, 196.1850, 196.0052, 196.2090],
        ]
    )
    f, residual_sd, r2 = 1.18046237440255, 0.104076068334656, 0.190999039051129
    within = ((resistivity - resistivity.mean(1, keepdims=True)) ** 2).sum()
    between = 5 * ((resistivity.mean(1) - resistivity.mean()) ** 2).sum()
    assert (between / 4) / (within / 20) == pytest.approx(f, rel=1e-9)  # the data are the certified ones
    assert between / (between + within) == pytest.approx(r2, rel=1e-9)
    readings = table(np.repeat(range(5), 5), 10 * (resistivity.ravel() - 196), 1e-6)
    shot, club = best_scatters(readings, bag_of(range(5)), (1.0, 0.3))
    assert shot / 10 == pytest.approx(residual_sd, rel=1e-3)
    assert (club / 10) ** 2 == pytest.approx(residual_sd**2 * (f - 1) / 5, rel=0.01)


def test_gum_annex_h3():
    """JCGM 100:2008, annex H.3, a thermometer's calibration line (printed results from memory): eleven clubs, a ball
    each, no club scatter."""
    t = np.array([21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511])
    b = np.array([-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160])
    residual_sd = math.sqrt(((b - np.polyval(np.polyfit(t, b, 1), t)) ** 2).sum() / (len(t) - 2))
    labels = [*range(len(t)), "at 30"]
    bag = bag_of(labels, [*(37 + t - 20), 47.0])  # an inch a degree above 20 °C; one more club, never hit, at 30 °C
    fit = lt.fit_bag(table(labels[:-1], 100 * b, 1e-6), bag, priors=known(100 * residual_sd, 1e-6))
    assert fit.trend["offset_deg"] / 100 == pytest.approx(-0.1712, abs=5e-5)
    assert fit.trend["u_offset_deg"] / 100 == pytest.approx(0.0029, abs=5e-5)
    assert fit.trend["slope_deg_per_in"] / 100 == pytest.approx(0.00218, abs=5e-6)
    assert fit.trend["u_slope_deg_per_in"] / 100 == pytest.approx(0.00067, abs=5e-6)
    at_30 = fit.table.iloc[-1]
    assert at_30["lie_error_deg"] / 100 == pytest.approx(-0.1494, abs=5e-5)
    assert at_30["u_lie_error_deg"] / 100 == pytest.approx(0.0041, abs=5e-5)


@pytest.mark.parametrize("values", [[0.3, -0.4, 1.1], [0.0, 0.2, 7.0, -0.1], [-5.0, 5.0], [2.0]])
def test_student_t_location_against_scipy(values):
    """One club, scale known, a normal prior on its lie: the posterior by scipy's quadrature of scipy's own
    densities."""
    nu, scale, prior_sd = 4.0, 1.2, 2.5
    u = 0.4
    priors = lt.lie.Priors(
        shot_scatter_deg=scale,
        shot_scatter_log_sd=0,
        club_scatter_deg=1e-3,
        club_scatter_log_sd=0,
        offset_sd_deg=prior_sd,
        slope_sd_deg_per_in=1e-9,
        odd_probability=0,
    )
    fit = lt.fit_bag(table(["7"] * len(values), values, u), bag_of(["7"]), priors=priors)

    def density(mu):
        return stats.norm.pdf(mu, 0, prior_sd) * np.prod(stats.t.pdf(values, nu, mu, math.hypot(scale, u)))

    def moment(power, high=30.0):
        return integrate.quad(
            lambda mu: mu**power * density(mu), -30, high, points=sorted({0.0, *values} - {high}), limit=400
        )[0]

    total, mean = moment(0), moment(1) / moment(0)
    row = fit.table.iloc[0]
    assert row["lie_error_deg"] == pytest.approx(mean, abs=2e-3)
    assert row["u_lie_error_deg"] == pytest.approx(math.sqrt(moment(2) / total - mean**2), rel=2e-3)
    assert moment(0, row["low_deg"]) / total == pytest.approx(0.025, abs=2e-3)
    assert moment(0, row["high_deg"]) / total == pytest.approx(0.975, abs=2e-3)
    assert fit.log_evidence == pytest.approx(math.log(total), abs=2e-3)


class TestRail:
    """Travel of ultrasound in six rails, three times each: Pinheiro & Bates, Mixed-Effects Models in S and S-PLUS
    (2000), 1.1; data of R's nlme.

    Printed by nlme 3.1-162 under R 4.2.2: ``f <- lme(travel ~ 1, data = Rail, random = ~ 1 | Rail); VarCorr(f);
    vcov(f); ranef(f)``.
    """

    data = pd.read_csv(HERE / "rail.csv")
    unit = 10.0  # nanoseconds a degree
    readings = table(data["Rail"], (data["travel"] - 66.5) / unit, 1e-6)
    bag = bag_of(sorted(set(data["Rail"])))

    def test_scatters(self):
        shot, club = best_scatters(self.readings, self.bag, (0.5, 2.0))
        assert shot * self.unit == pytest.approx(4.020779, abs=2e-3)
        assert club * self.unit == pytest.approx(24.805465, abs=0.02)

    def test_rails(self):
        priors = known(4.020779363 / self.unit, 24.805465313 / self.unit, slope_sd_deg_per_in=1e-9)
        fit = lt.fit_bag(self.readings, self.bag, priors=priors)
        assert 66.5 + self.unit * fit.trend["offset_deg"] == pytest.approx(66.5, abs=1e-3)
        assert self.unit * fit.trend["u_offset_deg"] == pytest.approx(10.1710373, abs=2e-3)
        printed = [-12.39147557, -34.53091193, 18.0089445, 29.24388235, -16.35674776, 16.02630841]  # rails 1 to 6
        assert self.unit * fit.table["own_deg"].to_numpy() == pytest.approx(printed, abs=2e-3)


class TestPenicillin:
    """Six samples on 24 plates: Davies & Goldsmith (1972), as R's lme4 has them. A plate is what a session's unknown
    is: shared by balls of all clubs.

    Printed by lme4 1.1-31 under R 4.2.2: ``m <- lmer(diameter ~ 1 + (1|plate) + (1|sample), Penicillin); VarCorr(m);
    vcov(m); ranef(m)``. A line of the pool is a sample on a plate.
    """

    data = pd.read_csv(HERE / "penicillin.csv").sort_values(["plate", "sample"], ignore_index=True)
    plate_sd, sample_sd, residual_sd = 0.84670251, 1.93161379, 0.54992268

    def pooled(self, plate_sd=plate_sd, sample_sd=sample_sd, residual_sd=residual_sd):
        sample = (
            self.data["sample"].map("ABCDEF".index).to_numpy()
        )  # the first six lines are the six samples on the first plate
        plate = self.data["plate"].astype("category").cat.codes.to_numpy()
        design = np.column_stack([np.ones(144), np.zeros(144), np.eye(24)[plate]])
        shape = (1, 144, 1)
        return pool(
            (self.data["diameter"].to_numpy(float) - 23).reshape(shape),
            np.full(shape, 1e-6),
            np.ones(shape, bool),
            design[None],
            sample,
            np.ones((1, 6)),
            np.array([1e3, 1.0, *[plate_sd] * 24]),
            (np.array([residual_sd]), np.ones(1)),
            (np.array([sample_sd]), np.ones(1)),
            (0.0, 1.0),
            math.inf,
        )[0]

    def test_samples_and_plates(self):
        one = self.pooled()
        assert 23 + one.mean[6] == pytest.approx(22.97222, abs=1e-4)
        assert math.sqrt(one.cov[6, 6]) == pytest.approx(0.8085954, abs=2e-4)
        samples = [2.18705840, -1.01047635, 1.93789985, -0.09689499, -0.01384214, -3.00374477]
        assert one.own_mean == pytest.approx(samples, abs=5e-4)
        assert one.mean[8:12] == pytest.approx([0.8045469, 0.8045469, 0.1816719, 0.3373906], abs=5e-4)  # plates a to d

    def test_the_printed_scatters_are_the_best(self):
        best = self.pooled().log_evidence
        for name in ("plate_sd", "sample_sd", "residual_sd"):
            around = [self.pooled(**{name: getattr(self, name) * step}).log_evidence for step in (0.97, 1.03)]
            assert max(around) < best
            curve = around[0] + around[1] - 2 * best
            assert abs((around[1] - around[0]) / curve) < 0.1  # the top lies within 0.15 % of the printed value
