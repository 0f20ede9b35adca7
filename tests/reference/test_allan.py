"""Allan deviations and their degrees of freedom against published values and an independent library."""

import allantools
import numpy as np
import pytest

from imustride.calibration.allan import allan_deviation, cluster_lengths
from imustride.calibration.freedom import degrees_of_freedom

# W.J. Riley, Handbook of Frequency Stability Analysis, NIST SP 1065 (2008), section 12.4: the nine frequencies
# of NBS Monograph 140, annex 8.E ("NBS14"), and a series of 1000 pseudo-random numbers.
NBS14 = np.array([892, 809, 823, 798, 671, 644, 883, 903, 677], dtype=float)
NBS14_OVERLAPPING = {1: "91.22945", 2: "85.95287"}
NBS14_SINGLE = {1: "91.22945", 2: "115.8082"}
THOUSAND_OVERLAPPING = {1: "2.922319e-01", 10: "9.159953e-02", 100: "3.241343e-02"}
THOUSAND_SINGLE = {1: "2.922319e-01", 10: "9.965736e-02", 100: "3.897804e-02"}
THOUSAND_MEAN, THOUSAND_SD = "4.897745e-01", "2.884664e-01"


@pytest.fixture(scope="module")
def thousand():
    """n0 = 1234567890, n -> 16807 n mod 2147483647, divided by 2147483647 (SP 1065, equation 73)."""
    numbers = [1234567890]
    for _ in range(999):
        numbers.append(16807 * numbers[-1] % 2147483647)
    assert numbers[1:4] == [395529916, 1209410747, 633705974]
    return np.array(numbers) / 2147483647


def printed(value, wanted):
    """A value to as many digits as the wanted text has."""
    digits = len(wanted.split("e")[0].replace(".", ""))
    return f"{value:.{digits - 1}e}" if "e" in wanted else f"{value:.{digits}g}"


def single(values, length):
    """Allan deviation without overlap: that of the means of clusters, one sample each."""
    means = values[: len(values) // length * length].reshape(-1, length).mean(axis=1)
    return allan_deviation(means, 1.0, [1]).deviation[0, 0]


@pytest.mark.parametrize(("length", "wanted"), NBS14_OVERLAPPING.items())
def test_the_nine_frequencies_overlapping(length, wanted):
    assert printed(allan_deviation(NBS14, 1.0, [length]).deviation[0, 0], wanted) == wanted


@pytest.mark.parametrize(("length", "wanted"), NBS14_SINGLE.items())
def test_the_nine_frequencies_without_overlap(length, wanted):
    assert printed(single(NBS14, length), wanted) == wanted


def test_the_thousand_numbers_are_those_of_the_handbook(thousand):
    assert printed(thousand.mean(), THOUSAND_MEAN) == THOUSAND_MEAN
    assert printed(thousand.std(ddof=1), THOUSAND_SD) == THOUSAND_SD


def test_the_thousand_numbers_overlapping(thousand):
    found = allan_deviation(thousand, 1.0, list(THOUSAND_OVERLAPPING)).deviation[:, 0]
    for value, wanted in zip(found, THOUSAND_OVERLAPPING.values(), strict=True):
        assert printed(value, wanted) == wanted


@pytest.mark.parametrize(("length", "wanted"), THOUSAND_SINGLE.items())
def test_the_thousand_numbers_without_overlap(thousand, length, wanted):
    assert printed(single(thousand, length), wanted) == wanted


@pytest.mark.parametrize("kind", ["white", "random walk"])
def test_agrees_with_allantools(kind):
    values = np.random.default_rng(14).normal(0.3, 0.02, 20_000)
    values = np.cumsum(values - 0.3) + 0.3 if kind == "random walk" else values
    lengths = cluster_lengths(len(values))
    wanted = allantools.oadev(values, rate=200.0, data_type="freq", taus=lengths / 200.0)
    found = allan_deviation(values, 200.0, lengths)
    np.testing.assert_allclose(found.tau_s, wanted[0], rtol=1e-12)
    np.testing.assert_allclose(found.deviation[:, 0], wanted[1], rtol=1e-9)


@pytest.mark.parametrize("exponent", [2, 0, -1, -2])
@pytest.mark.parametrize(("average", "count"), [(1, 1000), (10, 1000), (10, 100_000), (1000, 100_000)])
def test_degrees_of_freedom_agree_with_allantools(exponent, average, count):
    wanted = allantools.edf_greenhall(exponent, 2, average, count + 1, overlapping=True)
    # Above 100 terms the library takes the approximation of Greenhall and Riley's tables 2 and 3, good to
    # some per mille; below, both are the same sum.
    rtol = 1e-9 if 3 * average <= 100 and exponent <= 0 else 2e-3
    assert degrees_of_freedom(exponent, average, count, average) == pytest.approx(wanted, rel=rtol)
