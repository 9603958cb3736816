"""Equations without a printed value of their own come near other published figures."""

from dataclasses import replace

import pytest

from capture.composition.crosschecks import CROSS_CHECKS, SAMPLE_MEANS, CrossCheck, SampleMean
from capture.composition.equations import equation


@pytest.mark.parametrize("check", CROSS_CHECKS, ids=lambda check: check.equation_id)
def test_two_published_forms_come_near(check: CrossCheck) -> None:
    """Over the middle of the range the two differ by no more than is said beside them."""
    assert check.within, check.worst


@pytest.mark.parametrize("mean", SAMPLE_MEANS, ids=lambda mean: mean.equation_id)
def test_an_equation_meets_the_mean_of_its_sample(mean: SampleMean) -> None:
    """The average of a least-squares fit over its sample is the sample's mean (from memory)."""
    assert mean.within, mean.difference


@pytest.mark.parametrize("check", CROSS_CHECKS, ids=lambda check: check.equation_id)
def test_the_comparison_would_find_a_wrong_leading_digit(check: CrossCheck) -> None:
    """Sums a third too large, or too small, as from a wrong coefficient: not near any more.

    Against another sample only one of the two is found.
    """
    wrong = [
        replace(check, other=lambda s, age, by=by: check.other(by * s, age)) for by in (1.35, 0.74)
    ]
    assert sum(not each.within for each in wrong) >= (1 if "another sample" in check.against else 2)
    assert check.near < (equation(check.equation_id).standard_error_percent or 4)


def test_the_mean_counts_the_scatter_of_the_sums() -> None:
    """Without it the quadratic misses the sample's mean by more than is allowed."""
    (men,) = [each for each in SAMPLE_MEANS if each.equation_id == "jackson_pollock_1978_men_7"]
    assert not replace(men, deviation_mm=0).within
