"""The story holds together: typed readings, logs, recordings and spec sheet tell the same thing."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile

from backtospec.bench.runs import Given, run
from backtospec.catalogue import all_checks
from backtospec.check import AdviceKind
from backtospec.checks.dc_offset import CHECK as DC_OFFSET
from backtospec.checks.filter_capacitor import CHECK as FILTER_CAPACITOR
from backtospec.checks.idle_current import CHECK as IDLE_CURRENT
from backtospec.demo.amplifier import FloatArray
from backtospec.demo.scenario import (
    CONDITIONS,
    INTERFACE,
    LOADS_OHM,
    Step,
    build_files,
    story,
)
from backtospec.quantity import read
from backtospec.records import Visit
from backtospec.sources.log_files import LogOptions, read_logs
from backtospec.sources.spec_sheets import read_spec

BLOCK = 4800
ORDERS = np.arange(1, 11)


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    return build_files(tmp_path_factory.mktemp("story"))


def steps_of(check_id: str, visit: Visit) -> list[Step]:
    return [step for step in story().steps if (step.check_id, step.visit) == (check_id, visit)]


def table(path: Path) -> FloatArray:
    lines = path.read_text(encoding="utf-8").splitlines()[2:]
    return np.array([[float(cell) for cell in line.split(";")] for line in lines])


def power_and_thd(path: Path) -> FloatArray:
    """Shape (blocks, channels, 2): watts and percent, by least squares on tenths of a second.

    Ten mains half cycles fit in a block, so the ripple on a clipped wave averages out.
    """
    samples, rate_hz = soundfile.read(path)
    turn = 2 * np.pi * 997 * (1 + INTERFACE.clock_ppm * 1e-6) * np.arange(BLOCK) / rate_hz
    model = np.column_stack(
        [np.ones(BLOCK)] + [part(order * turn) for order in ORDERS for part in (np.cos, np.sin)]
    )
    solve = np.linalg.pinv(model)
    found = []
    for start in range(0, len(samples) - BLOCK, BLOCK // 4):
        volts = samples[start : start + BLOCK] * np.array(INTERFACE.full_scale_v)
        parts = solve @ volts
        heights = np.hypot(parts[1::2], parts[2::2])
        thd = 100 * np.sqrt(np.sum(heights[1:] ** 2, axis=0)) / heights[0]
        found.append(np.column_stack((heights[0] ** 2 / 2 / np.array(LOADS_OHM), thd)))
    return np.array(found)


def power_at(curve: FloatArray, thd_percent: float) -> float:
    """Return the power at which distortion is passed for good, between 10 W and the last block."""
    rising = curve[curve[:, 0] > 10]
    last_below = np.flatnonzero(rising[:, 1] < thd_percent)[-1]
    (low_w, low), (high_w, high) = rising[last_below], rising[last_below + 1]
    return float(low_w + (high_w - low_w) * np.log(thd_percent / low) / np.log(high / low))


def thd_near(curve: FloatArray, power_w: float) -> float:
    """Return the median distortion of the blocks within a tenth of a power."""
    near = np.abs(curve[:, 0] / power_w - 1) < 0.1
    return float(np.median(curve[near, 1]))


@pytest.fixture(scope="module")
def curves(built: dict[str, Path]) -> dict[Visit, FloatArray]:
    return {visit: power_and_thd(built[f"ramp-{visit}.flac"]) for visit in Visit}


def test_the_spec_sheet_reads_without_a_fault() -> None:
    told = story()
    spec = read_spec(told.spec_text, told.spec_name)
    assert (spec.maker, spec.model, spec.year) == ("Halden", "62", 1977)
    assert spec.ratings[0].power_w == 45
    assert {part.designator for part in spec.capacitors} == {"C601", "C602"}


def test_the_story_is_told_the_same_way_every_time() -> None:
    assert story() == story()


def test_both_visits_run_the_same_checks_in_the_same_order() -> None:
    order = {v: [s.check_id for s in story().steps if s.visit is v] for v in Visit}
    assert order[Visit.BEFORE] == order[Visit.AFTER]
    assert set(order[Visit.AFTER]) == {
        "filter-capacitor",
        "dc-offset",
        "idle-current",
        "volume-ramp",
    }


def test_every_file_named_by_a_step_is_built(built: dict[str, Path]) -> None:
    named = {name for step in story().steps for name in step.files.values()}
    assert named
    assert named <= built.keys()
    assert all(path.stat().st_size > 0 for path in built.values())


@pytest.mark.parametrize("visit", list(Visit))
@pytest.mark.parametrize(("check_id", "log"), [("idle-current", "idle"), ("dc-offset", "offset")])
def test_a_typed_reading_is_the_row_of_the_log_at_that_minute(
    built: dict[str, Path], visit: Visit, check_id: str, log: str
) -> None:
    (step,) = steps_of(check_id, visit)
    rows = table(built[f"{log}-{visit}.csv"])
    row = rows[rows[:, 0] == float(step.texts["minutes_since_on"])][0]
    typed = [1000 * read(step.texts[key], "mV", key) for key in ("left", "right")]
    assert typed == pytest.approx(row[1:], abs=1e-9)
    if check_id == "dc-offset":
        cold = [1000 * read(step.texts[f"{key}_cold"], "mV", key) for key in ("left", "right")]
        assert cold == pytest.approx(rows[0, 1:], abs=1e-9)


@pytest.mark.parametrize("visit", list(Visit))
def test_typed_capacitors_are_those_that_the_recording_was_made_with(visit: Visit) -> None:
    condition = CONDITIONS[visit]
    for step, capacitor in zip(
        steps_of("filter-capacitor", visit), (condition.positive, condition.negative), strict=True
    ):
        assert read(step.texts["capacitance"], "µF", "C") == pytest.approx(capacitor.farad)
        assert read(step.texts["esr"], "Ω", "ESR") == pytest.approx(capacitor.esr_ohm, abs=0.005)


def test_the_log_files_read_as_both_channels_in_millivolts(built: dict[str, Path]) -> None:
    reading = read_logs([built["idle-after.csv"]], LogOptions())
    assert [str(series.channel) for series in reading.series] == ["L", "R"]
    left = reading.series[0]
    assert left.unit == "V"
    assert left.value[-1] == pytest.approx(table(built["idle-after.csv"])[-1, 1] / 1000)


def test_every_answered_key_is_an_input_of_its_check() -> None:
    inputs = {check.id: {item.key for item in check.inputs} for check in all_checks()}
    for step in story().steps:
        if step.check_id in inputs:
            assert {*step.texts, *step.files} <= inputs[step.check_id]


EXPECTED = {
    (Visit.BEFORE, "filter-capacitor"): [AdviceKind.PLAN, AdviceKind.REPLACE],
    (Visit.BEFORE, "idle-current"): [AdviceKind.ADJUST],
    (Visit.BEFORE, "dc-offset"): [AdviceKind.PLAN],
    (Visit.AFTER, "filter-capacitor"): [AdviceKind.LEAVE, AdviceKind.LEAVE],
    (Visit.AFTER, "idle-current"): [AdviceKind.LEAVE],
    (Visit.AFTER, "dc-offset"): [AdviceKind.LEAVE],
}


@pytest.mark.parametrize(("visit", "check_id"), EXPECTED)
def test_the_typed_steps_are_accepted_and_lead_where_the_story_goes(
    visit: Visit, check_id: str
) -> None:
    told = story()
    spec = read_spec(told.spec_text, told.spec_name)
    check = {c.id: c for c in (DC_OFFSET, FILTER_CAPACITOR, IDLE_CURRENT)}[check_id]
    words = [
        run(
            check, Given(step.texts, spec=spec, meter=told.meter, power_state=step.power_state)
        ).word
        for step in steps_of(check_id, visit)
    ]
    assert words == EXPECTED[visit, check_id]


def test_before_it_misses_its_rated_power_in_both_channels(
    curves: dict[Visit, FloatArray],
) -> None:
    for channel in range(2):
        curve = curves[Visit.BEFORE][:, channel]
        assert 37 < power_at(curve, 0.1) < 41
        assert 43 < power_at(curve, 1.0) < 46
        assert 2.5 < curve[:, 1][curve[:, 0] > 10].max() < 5


def test_before_the_right_channel_is_rough_at_low_power(curves: dict[Visit, FloatArray]) -> None:
    left, right = (curves[Visit.BEFORE][:, channel] for channel in range(2))
    for power_w in (0.25, 0.7):
        assert thd_near(right, power_w) > 0.12
        assert thd_near(left, power_w) < 0.08


def test_after_it_meets_its_rating_and_clips_beyond(curves: dict[Visit, FloatArray]) -> None:
    for channel in range(2):
        curve = curves[Visit.AFTER][:, channel]
        assert 48 < power_at(curve, 0.1) < 51
        assert 52 < power_at(curve, 1.0) < 55
        assert 2.5 < curve[:, 1][curve[:, 0] > 10].max() < 5
        low, high = thd_near(curve, 0.6), thd_near(curve, 30.0)
        assert high < low < 0.06


def test_tracking_is_better_after(curves: dict[Visit, FloatArray]) -> None:
    spread_db = {}
    for visit, curve in curves.items():
        # Blocks that lie whole in a pause: their neighbours have the same power.
        watts = curve[:, :, 0]
        change = np.abs(np.log(watts[2:, 0] / watts[:-2, 0]))
        held = np.flatnonzero((change < 1e-3) & (watts[1:-1, 0] > 0.1) & (watts[1:-1, 0] < 35)) + 1
        volts = np.sqrt(watts[held] * np.array(LOADS_OHM))
        spread_db[visit] = np.abs(20 * np.log10(volts[:, 1] / volts[:, 0]))
    assert spread_db[Visit.AFTER].max() < 0.2
    assert spread_db[Visit.BEFORE].max() > 0.5
