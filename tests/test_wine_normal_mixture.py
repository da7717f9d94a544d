"""Mixtures of normal distributions."""

from __future__ import annotations

from math import erf, sqrt
from statistics import NormalDist

import numpy as np
import pytest

from alerts.wine.normal_mixture import NormalMixture, normal_cdf


def test_the_distribution_function_agrees_with_erf() -> None:
    z = np.linspace(-6.0, 6.0, 2001)
    exact = [0.5 * (1.0 + erf(each / sqrt(2.0))) for each in z]
    assert np.max(np.abs(normal_cdf(z) - exact)) < 1e-7


def test_quantiles_of_a_single_normal() -> None:
    mixture = NormalMixture(np.array([1.0]), np.array([30.0]), np.array([2.0]))
    expected = [NormalDist(30.0, 2.0).inv_cdf(share) for share in (0.05, 0.1, 0.5, 0.9)]
    assert mixture.table().quantiles((0.05, 0.1, 0.5, 0.9)) == pytest.approx(expected, abs=0.01)
    assert (mixture.mean, mixture.sd) == (30.0, 2.0)


def test_quantiles_of_a_mixture_give_its_shares_back() -> None:
    mixture = NormalMixture(np.array([0.3, 0.7]), np.array([10.0, 30.0]), np.array([1.0, 4.0]))
    shares = (0.1, 0.3, 0.5, 0.9)
    assert mixture.cdf(np.array(mixture.table().quantiles(shares))) == pytest.approx(shares, abs=0.003)
    assert mixture.mean == pytest.approx(24.0)
    assert mixture.sd == pytest.approx(sqrt(0.3 * (1 + 14**2) + 0.7 * (16 + 6**2)))


def test_a_product_with_a_factor_that_is_not_sure() -> None:
    mixture = NormalMixture(np.array([1.0]), np.array([30.0]), np.array([1.0]))
    product = mixture.table().times([(0.5, 0.4), (2.0, 0.6)])
    assert np.interp(30.0, product.points, product.below) == pytest.approx(0.4, abs=1e-6)
    assert product.quantiles((0.2, 0.7)) == pytest.approx([15.0, 60.0], abs=0.05)
