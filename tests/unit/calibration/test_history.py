import pytest

from imustride.calibration import read_calibration
from imustride.calibration.history import LIMITS, looks_like, read_history

TEXT = """\
device = "{device}"
date = {date}
method = "positions"
gravity_m_s2 = 9.81

[accelerometer]
bias_{unit} = [{bias}, 0.0, 0.0]
matrix = [[{scale}, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]
{errors}
"""
ERRORS = "bias_sd_m_s2 = [0.01, 0.01, 0.01]\nscale_sd = [1e-3, 1e-3, 1e-3]\nskew_sd_deg = [0.05, 0.05, 0.05]"
AT_REST = "\n[gyroscope]\nbias_rad_s = [{bias}, 0.0, 0.0]\nmatrix = [[1, 0, 0], [0, 1, 0], [0, 0, 1]]\nmeasured = false\n"
TURNED = "\n[gyroscope]\nbias_rad_s = [0.0, 0.0, 0.0]\nmatrix = [[0.9, 0, 0], [0, 1, 0], [0, 0, 1]]\n"


@pytest.fixture
def add(tmp_path):
    """Add a calibration to the folder."""

    def _add(date, bias=0.1, scale=1.0, device="S042", unit="m_s2", errors=ERRORS, more=""):
        path = tmp_path / device / f"{date}.toml"
        path.parent.mkdir(exist_ok=True)
        text = TEXT.format(device=device, date=date, bias=bias, scale=scale, unit=unit, errors=errors)
        path.write_text(text + more, encoding="utf-8")
        return path

    return _add


def verdicts(folder, device="S042"):
    return [step.verdict for step in read_history(folder, device).steps]


def test_changes_are_judged_from_date_to_date(add, tmp_path):
    add("2026-09-01", bias=0.100)
    add("2026-10-01", bias=0.120)  # 2 of the 2.8 hundredths that two standard errors are
    add("2026-11-01", bias=0.155)  # certain, within the limit
    add("2026-12-01", bias=0.300)  # beyond it
    assert verdicts(tmp_path) == ["first", "no change", "drifts", "changed"]
    last = read_history(tmp_path, "S042").steps[-1]
    assert last.beyond == ("accelerometer_bias_m_s2",)
    assert last.change["accelerometer_bias_m_s2"] == pytest.approx(0.145)
    assert last.change["accelerometer_bias_m_s2"] > LIMITS["accelerometer_bias_m_s2"]


def test_scale_is_compared_as_a_ratio(add, tmp_path):
    add("2026-09-01", scale=1.0)
    add("2026-10-01", scale=1.01)
    step = read_history(tmp_path, "S042").steps[-1]
    assert step.change["accelerometer_scale_percent"] == pytest.approx(0.990, abs=1e-3)
    assert step.verdict == "changed"


def test_dates_count_and_not_the_order_of_files(add, tmp_path):
    add("2026-12-01", bias=0.3)
    add("2026-09-01", bias=0.1).rename(tmp_path / "S042" / "z.toml")
    assert [step.calibration.date.month for step in read_history(tmp_path, "S042").steps] == [9, 12]


def test_without_standard_errors_only_limits_count(add, tmp_path):
    add("2026-09-01", errors="")
    add("2026-10-01", bias=0.11, errors="")
    add("2026-11-01", bias=0.11, errors="")
    assert verdicts(tmp_path) == ["first", "drifts", "no change"]


def test_counts_and_units_are_not_compared(add, tmp_path):
    add("2026-09-01")
    add("2026-10-01", unit="counts", errors="")
    assert verdicts(tmp_path) == ["first", "not comparable"]


def test_a_gyroscope_of_which_only_the_bias_is_known_is_compared_by_it(add, tmp_path):
    add("2026-09-01", more=TURNED)
    add("2026-10-01", more=AT_REST.format(bias=0.02))
    change = read_history(tmp_path, "S042").steps[-1].change
    assert change["gyroscope_bias_deg_s"] == pytest.approx(1.146, abs=1e-3)
    assert "gyroscope_scale_percent" not in change


def test_files_that_cannot_be_used_are_named(add, tmp_path):
    add("2026-09-01")
    add("2026-10-01", device="S041").rename(tmp_path / "S042" / "moved.toml")
    (tmp_path / "S042" / "notes.toml").write_text("nothing", encoding="utf-8")
    history = read_history(tmp_path, "S042")
    assert len(history.steps) == 1
    assert len(history.problems) == 2
    assert any("is of device 'S041'" in problem for problem in history.problems)


def test_an_unknown_device_has_no_history(tmp_path):
    assert read_history(tmp_path, "S099").steps == ()


def test_numbers_of_another_device_are_recognised(add, tmp_path):
    add("2026-09-01", bias=0.1, device="S041")
    add("2026-09-01", bias=-0.4, scale=1.02, device="S042")
    taken = read_calibration(add("2026-10-01", bias=0.105, device="S042"))
    assert looks_like(taken, tmp_path) == "S041"
    own = read_calibration(add("2026-10-01", bias=-0.38, scale=1.02, device="S042"))
    assert looks_like(own, tmp_path) is None


def test_a_device_that_changed_is_not_taken_for_another(add, tmp_path):
    add("2026-09-01", bias=0.1, device="S041")
    add("2026-09-01", bias=-0.4, device="S042")
    changed = read_calibration(add("2026-10-01", bias=0.6, device="S042"))
    assert looks_like(changed, tmp_path) is None
    first = read_calibration(add("2026-10-01", bias=0.1, device="S043"))
    assert looks_like(first, tmp_path) is None
