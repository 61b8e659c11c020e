"""The safe path keeps its rules between any two states; the clocks tell what the heatsink knows."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from itertools import pairwise, product

import pytest

from backtospec.bench.specs import spec_of
from backtospec.check.power_cautions import CAUTIONS, REMINDER
from backtospec.check.power_clocks import clocks
from backtospec.check.power_path import (
    LEFT,
    LEFT_LATER,
    OFFSET,
    Charge,
    accepts,
    charge_of,
    current_state,
    path,
    refuses,
    with_known_cautions_short,
)
from backtospec.records import PowerState, PowerStep, SpecSheet, Topology

PAIRS = [(a, b) for a, b in product(PowerState, repeat=2) if a is not b]
SUPPLIED = (PowerState.LIMITED, PowerState.REDUCED, PowerState.MAINS)
BOTH = pytest.mark.parametrize("move_leads", [True, False])
START = datetime(2025, 3, 7, 20, 0, tzinfo=UTC)


def step(state: PowerState, minute: float = 0.0) -> PowerStep:
    return PowerStep("j-00001", state, START + timedelta(minutes=minute))


@BOTH
@pytest.mark.parametrize(("start", "end"), PAIRS)
def test_the_path_arrives(start: PowerState, end: PowerState, move_leads: bool) -> None:
    assert path(start, end, move_leads=move_leads)[-1].state is end
    assert path(start, start, move_leads=move_leads) == ()


@BOTH
@pytest.mark.parametrize(("start", "end"), PAIRS)
def test_safe_is_measured_twice_a_minute_apart(
    start: PowerState, end: PowerState, move_leads: bool
) -> None:
    way = path(start, end, move_leads=move_leads)
    for before, arriving in pairwise((None, *way)):
        assert arriving is not None
        was = start if before is None else before.state
        if arriving.state is PowerState.SAFE and was is not PowerState.SAFE:
            assert before is not None
            assert (before.proof, arriving.proof) == (LEFT, LEFT_LATER)
            assert arriving.wait_min >= 1


@BOTH
@pytest.mark.parametrize(("start", "end"), PAIRS)
def test_a_supply_is_changed_only_by_way_of_off(
    start: PowerState, end: PowerState, move_leads: bool
) -> None:
    states = [start, *(s.state for s in path(start, end, move_leads=move_leads))]
    for one, other in pairwise(states):
        if one in SUPPLIED and other in SUPPLIED:
            assert one is other


@pytest.mark.parametrize(("start", "end"), PAIRS)
def test_leads_are_attached_only_where_it_is_safe(start: PowerState, end: PowerState) -> None:
    way = path(start, end)
    touched = [s for s in way if s.brief.startswith("attach")]
    assert all(s.state is PowerState.SAFE for s in touched)
    comes_on = end not in (PowerState.SAFE, PowerState.OFF)
    assert bool(touched) == (comes_on and (start, end) != (PowerState.DRIVEN, PowerState.MAINS))


@BOTH
@pytest.mark.parametrize("start", [s for s in PowerState if s is not PowerState.DRIVEN])
def test_no_signal_before_the_offset_is_proven(start: PowerState, move_leads: bool) -> None:
    *_, proving, signal = path(start, PowerState.DRIVEN, move_leads=move_leads)
    assert proving.proof == OFFSET
    assert proving.state is PowerState.MAINS
    assert signal.words == "Bring the signal up from silence."


@pytest.mark.parametrize("end", [s for s in PowerState if s is not PowerState.DRIVEN])
def test_the_signal_goes_first(end: PowerState) -> None:
    assert "silence" in path(PowerState.DRIVEN, end)[0].words


@pytest.mark.parametrize(("start", "end"), PAIRS)
def test_arriving_shows_the_cautions_of_the_state(start: PowerState, end: PowerState) -> None:
    assert path(start, end)[-1].cautions == CAUTIONS[end]


def test_cautions_stand_in_full_only_the_first_time() -> None:
    way = path(PowerState.MAINS, PowerState.SAFE)
    assert with_known_cautions_short(way, ()) == way
    again = with_known_cautions_short(way, [step(PowerState.OFF), step(PowerState.SAFE)])
    assert again[0].cautions == (REMINDER[PowerState.OFF],)
    assert again[-1].cautions == (REMINDER[PowerState.SAFE],)
    # what belongs to a single movement and not to a state is never shortened
    assert again[2].cautions == way[2].cautions != ()
    partly = with_known_cautions_short(way, [step(PowerState.OFF)])
    assert partly[-1].cautions == CAUTIONS[PowerState.SAFE]


@pytest.mark.parametrize(
    ("topic", "state"),
    [
        ("one hand", PowerState.LIMITED),
        ("residual-current device stays in", PowerState.MAINS),
        ("not the current", PowerState.REDUCED),
        ("does not isolate", PowerState.REDUCED),
        ("still dangerous", PowerState.OFF),
        ("no speaker until the offset is proven", PowerState.MAINS),
        ("eye protection", PowerState.LIMITED),
        ("burn", PowerState.DRIVEN),
        ("comes back", PowerState.SAFE),
    ],
)
def test_each_danger_is_named(topic: str, state: PowerState) -> None:
    text = " ".join(CAUTIONS[state]).casefold()
    assert topic.casefold() in text


def test_the_discharge_is_computed_from_the_charge() -> None:
    """τ of 100 Ω and 10 000 µF is a second; 63 V fall to 2 V in ln 31.5 = 3.45 of them."""
    way = path(PowerState.OFF, PowerState.SAFE, charge=Charge(0.01, 63.0))
    assert "100 Ω, 10 W, wire-wound, and 3.4 s to 2 V" in way[1].words
    assert any("10 kΩ leaves 47 V" in c and "6.3 A" in c for c in way[1].cautions)
    small = path(PowerState.OFF, PowerState.SAFE, charge=Charge(0.0022, 25.0))
    assert "2200 µF at 25 V" in small[1].words
    assert small[1].words != way[1].words


def test_the_charge_is_that_of_the_largest_capacitor_on_the_rail() -> None:
    sheet = (
        'maker = "Example"\nmodel = "One"\nrail = "34 V"\nsource = "manual"\n'
        '[[capacitor]]\ndesignator = "C1"\nvalue = "6800 µF"\nvolts = "50 V"\n'
        '[[capacitor]]\ndesignator = "C2"\nvalue = "22000 µF"\nvolts = "16 V"\n'
    )
    assert charge_of(spec_of(sheet, "sheet")) == Charge(0.0068, 34.0)
    assert charge_of(None) is None
    assert charge_of(SpecSheet("Example", "One", rail_v=34.0)) is None


def test_a_proof_is_a_value_and_not_a_belief() -> None:
    last = path(PowerState.OFF, PowerState.SAFE)[-1]
    assert accepts(last, 1.99)
    assert accepts(last, -1.99)
    for value in (2.0, -2.0, 14.0, None, float("nan")):
        assert not accepts(last, value)


def test_some_supplies_take_no_limiter() -> None:
    switching = SpecSheet("Example", "One", topology=Topology.SWITCHING_SUPPLY)
    v_fet = SpecSheet("Example", "One", topology=Topology.V_FET)
    assert refuses(switching, PowerState.LIMITED)
    assert refuses(switching, PowerState.REDUCED)
    assert not refuses(switching, PowerState.MAINS)
    assert refuses(v_fet, PowerState.REDUCED)
    assert not refuses(v_fet, PowerState.LIMITED)
    assert not refuses(None, PowerState.REDUCED)


def test_the_state_is_the_one_kept_last() -> None:
    assert current_state([]) is None
    assert current_state([step(PowerState.SAFE), step(PowerState.MAINS)]) is PowerState.MAINS


@pytest.mark.parametrize(
    ("kept", "now", "on_min", "warm_min"),
    [
        ([], 10, None, 0),
        ([step(PowerState.MAINS)], 42, 42, 42),
        ([step(PowerState.MAINS), step(PowerState.DRIVEN, 30)], 42, 42, 42),
        ([step(PowerState.LIMITED), step(PowerState.MAINS, 20)], 42, 22, 22),
        (
            [step(PowerState.MAINS), step(PowerState.OFF, 30), step(PowerState.MAINS, 38)],
            42,
            4,
            26,
        ),
        (
            [step(PowerState.MAINS), step(PowerState.OFF, 5), step(PowerState.MAINS, 30)],
            42,
            12,
            12,
        ),
        ([step(PowerState.MAINS), step(PowerState.SAFE, 30)], 40, None, 20),
    ],
)
def test_two_clocks(
    kept: list[PowerStep], now: float, on_min: float | None, warm_min: float
) -> None:
    told = clocks(kept, START + timedelta(minutes=now))
    assert told.on_min == (None if on_min is None else pytest.approx(on_min))
    assert told.warm_min == pytest.approx(warm_min)
    assert told.interrupted == (on_min is not None and on_min != warm_min)
