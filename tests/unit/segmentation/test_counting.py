import pytest

from imustride.segmentation.counting import one_in, sample_count


@pytest.mark.parametrize("beside", [-5e-4, 0.0, 5e-4])
@pytest.mark.parametrize(
    ("span_s", "rate_hz", "count"),
    [
        # 8 ms at 250 Hz are 2 samples, 12 ms are 3, 60 ms are 15: whole numbers on paper.
        (0.008, 250.0, 2), (0.012, 250.0, 3), (0.06, 250.0, 15), (0.01, 100.0, 1), (0.05, 1000.0, 50),
        # 7.5, 12.5 and 22.5 samples: a half counts up.
        (0.03, 250.0, 8), (0.05, 250.0, 13), (0.09, 250.0, 23),
        # 1.6 and 0.8 samples: to the nearest.
        (0.008, 200.0, 2), (0.008, 100.0, 1),
    ],
)  # fmt: skip
def test_a_span_is_as_many_samples_whatever_the_true_rate_lies_beside_the_nominal(
    span_s, rate_hz, count, beside
):
    assert sample_count(span_s, rate_hz * (1 + beside)) == count


@pytest.mark.parametrize("beside", [-5e-4, 0.0, 5e-4])
@pytest.mark.parametrize(("rate_hz", "count"), [(100.0, 1), (250.0, 1), (400.0, 1), (500.0, 2), (1000.0, 4)])
def test_so_many_samples_make_one_of_250_hz(rate_hz, count, beside):
    assert one_in(rate_hz * (1 + beside), 250.0) == count
