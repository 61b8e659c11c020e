"""The safe path from one power state to another, and the cautions on it.

What is said here is common practice (from memory) unless a source stands beside it; local rules
and licensed practice come first.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from backtospec.analysis.discharge import SAFE_V, choose_discharger, volts_left
from backtospec.check.power_cautions import CAUTIONS, REMINDER
from backtospec.quantity import write
from backtospec.records import PowerState, PowerStep, SpecSheet, Topology

PROVEN_OFFSET_V = 0.1
"""Offset that must not be passed before a signal goes into a load (from memory)."""

FULL_MAINS = (PowerState.MAINS, PowerState.DRIVEN)
"""The states in which an amplifier warms up as its maker means it."""

STARVED = (PowerState.LIMITED, PowerState.REDUCED)
"""Powered, but not as the maker's figures were taken: they do not count here."""


@dataclass(frozen=True, slots=True)
class Charge:
    """One filter capacitor with what it was charged to: farads and volts."""

    farad: float
    volt: float


@dataclass(frozen=True, slots=True)
class Proof:
    """A voltage that must be measured, either sign, and lie below a bound to count."""

    key: str
    prompt: str
    high_v: float
    probed_at: str

    def holds(self, value_v: float | None) -> bool:
        """Return whether the value proves it; no value proves nothing."""
        return value_v is not None and abs(value_v) < self.high_v


@dataclass(frozen=True, slots=True)
class SafetyStep:
    """One step on the way.

    Parameters
    ----------
    words
        What to do, one sentence.
    brief
        The same in a few words, to be strung together.
    state
        The state the amplifier is in once the step is done.
    proof
        What must be measured for it to count, if anything.
    cautions
        What to mind while doing it.
    wait_min
        Minutes to let pass before it.
    """

    words: str
    brief: str
    state: PowerState
    proof: Proof | None = None
    cautions: tuple[str, ...] = ()
    wait_min: float = 0.0


LEFT = Proof("residual_v", "Volts left, the highest found", SAFE_V, "across each filter capacitor")
LEFT_LATER = Proof(
    "residual_later_v", "Volts left a minute later", SAFE_V, "across each filter capacitor"
)
OFFSET = Proof(
    "offset_v", "DC offset, the larger channel", PROVEN_OFFSET_V, "between the speaker terminals"
)

ARRIVAL: dict[PowerState, tuple[Proof, ...]] = {
    PowerState.SAFE: (LEFT, LEFT_LATER),
    PowerState.DRIVEN: (OFFSET,),
}
"""What being in a state rests on: without these values it is only believed."""


def charge_of(spec: SpecSheet | None) -> Charge | None:
    """Return the heaviest charge a spec sheet tells of: its largest capacitor at the rail.

    Capacitors rated below the rail voltage are left out: they do not stand across it.
    """
    if spec is None or spec.rail_v is None or abs(spec.rail_v) <= SAFE_V:
        return None
    rail_v = abs(spec.rail_v)
    farads = [c.farad for c in spec.capacitors if c.rated_v >= rail_v]
    return Charge(max(farads), rail_v) if farads else None


def refuses(spec: SpecSheet | None, state: PowerState) -> str:
    """Return why an amplifier must not be brought into a state; empty where it may.

    Examples
    --------
    >>> from backtospec.records import Topology
    >>> refuses(SpecSheet("Example", "One", topology=Topology.V_FET), PowerState.REDUCED)
    'a V-FET stage needs its gate bias before its rails: they are never raised slowly'
    """
    topology = spec.topology if spec else None
    if topology is Topology.V_FET and state is PowerState.REDUCED:
        return "a V-FET stage needs its gate bias before its rails: they are never raised slowly"
    if topology is Topology.SWITCHING_SUPPLY and state in STARVED:
        return "a switching supply draws more the less it is given: neither lamp nor transformer"
    return ""


def path(
    from_state: PowerState,
    to_state: PowerState,
    *,
    move_leads: bool = True,
    charge: Charge | None = None,
) -> tuple[SafetyStep, ...]:
    """Return the steps from one power state to another; none where it is there already.

    Parameters
    ----------
    from_state, to_state
        Where it is, and where it is to go. Where nobody said, it is :attr:`PowerState.OFF`.
    move_leads
        Whether leads or loads are to be attached on the way: then it leads through *safe*. Without
        it, only what is needed to change the supply.
    charge
        What is to be discharged, for the resistor; a usual case where it is not known.

    Examples
    --------
    >>> [step.brief for step in path(PowerState.SAFE, PowerState.LIMITED)]
    ['attach the leads', 'put the series lamp in line and plug in', 'switch on']
    >>> [str(step.state) for step in path(PowerState.DRIVEN, PowerState.MAINS)]
    ['mains']
    """
    if from_state is to_state:
        return ()
    quiet: tuple[SafetyStep, ...] = (_silence(),) if from_state is PowerState.DRIVEN else ()
    if from_state is PowerState.DRIVEN and to_state is PowerState.MAINS:
        return quiet
    if not move_leads and (from_state, to_state) == (PowerState.MAINS, PowerState.DRIVEN):
        return _drive()
    down = quiet
    if from_state not in (PowerState.SAFE, PowerState.OFF):
        down += (_switch_off(from_state),)
    if to_state is PowerState.OFF:
        return down or (_plug_in(),)
    if to_state is PowerState.SAFE:
        return down + _make_safe(charge)
    if from_state is PowerState.SAFE:
        return _attach(to_state) + _power_up(to_state)
    if not move_leads:
        return (*down, _unplug(), *_power_up(to_state))
    return down + _make_safe(charge) + _attach(to_state) + _power_up(to_state)


def in_words(steps: Iterable[SafetyStep]) -> str:
    """Return a path in one line, to stand in a sentence."""
    return ", ".join(step.brief for step in steps)


def accepts(step: SafetyStep, value_v: float | None) -> bool:
    """Return whether a step counts as done with the value that was measured for it.

    A step that needs no proof is accepted with any value or none; one that does is not accepted
    without.

    Examples
    --------
    >>> last = path(PowerState.OFF, PowerState.SAFE)[-1]
    >>> accepts(last, 0.7), accepts(last, -2.0), accepts(last, None)
    (True, False, False)
    """
    return step.proof is None or step.proof.holds(value_v)


def current_state(kept: Iterable[PowerStep]) -> PowerState | None:
    """Return the state the amplifier was brought into last; ``None`` where nobody ever said."""
    state = None
    for step in kept:
        state = step.state
    return state


def with_known_cautions_short(
    steps: Iterable[SafetyStep], kept: Iterable[PowerStep]
) -> tuple[SafetyStep, ...]:
    """Return a path whose cautions stand in full only where a state is reached the first time.

    Parameters
    ----------
    steps
        A path.
    kept
        The states the amplifier of this job was in before.
    """
    known = {step.state for step in kept}
    shown = []
    for step in steps:
        short = step.cautions == CAUTIONS[step.state] and step.state in known
        shown.append(replace(step, cautions=(REMINDER[step.state],)) if short else step)
        if step.cautions == CAUTIONS[step.state]:
            known.add(step.state)
    return tuple(shown)


def _silence() -> SafetyStep:
    return SafetyStep(
        "Turn the volume down to silence, then stop the signal; the loads stay hot.",
        "turn down to silence",
        PowerState.MAINS,
        cautions=CAUTIONS[PowerState.MAINS],
    )


def _switch_off(state: PowerState) -> SafetyStep:
    reduced = state is PowerState.REDUCED
    first = "Turn the variable transformer to zero, switch off" if reduced else "Switch it off"
    return SafetyStep(
        f"{first}, and leave every lead where it is.",
        "switch off",
        PowerState.OFF,
        cautions=CAUTIONS[PowerState.OFF],
    )


def _plug_in() -> SafetyStep:
    return SafetyStep(
        "With every lead attached and its switch off, plug it in; it is no longer safe.",
        "plug it in, switched off",
        PowerState.OFF,
        cautions=CAUTIONS[PowerState.OFF],
    )


def _unplug() -> SafetyStep:
    return SafetyStep("Pull the plug, and keep it in sight.", "unplug", PowerState.OFF)


def _make_safe(charge: Charge | None) -> tuple[SafetyStep, ...]:
    held = charge or Charge(0.01, 63.0)
    chosen = choose_discharger(held.farad, held.volt)
    of_this = f"{write(held.farad, 'F')} at {write(held.volt, 'V')}"
    kind = "of this amplifier" if charge else "for example"
    left = write(volts_left(held.farad, 10_000.0, held.volt, 30.0), "V", 2)
    return (
        _unplug(),
        SafetyStep(
            f"Discharge each filter capacitor through a computed resistor: {of_this} ({kind}) "
            f"takes {write(chosen.ohm, 'Ω')}, {chosen.rating_w:g} W, wire-wound, and "
            f"{chosen.time_s:.1f} s to {SAFE_V:g} V.",
            "discharge through a resistor",
            PowerState.OFF,
            cautions=(
                "One hand, insulated clips, never a screwdriver.",
                f"No rule of thumb: 10 kΩ leaves {left} on it after 30 s, and 10 Ω draws "
                f"{write(held.volt / 10, 'A', 2)}.",
            ),
        ),
        SafetyStep(
            f"Measure each of them below {SAFE_V:g} V.",
            f"measure below {SAFE_V:g} V",
            PowerState.OFF,
            LEFT,
        ),
        SafetyStep(
            "Wait a minute and measure each again: the charge comes back by itself.",
            "measure again a minute later",
            PowerState.SAFE,
            LEFT_LATER,
            CAUTIONS[PowerState.SAFE],
            wait_min=1.0,
        ),
    )


def _attach(to_state: PowerState) -> tuple[SafetyStep, ...]:
    driven = to_state is PowerState.DRIVEN
    return (
        SafetyStep(
            "Attach the leads by insulated clips, and the dummy loads, once the offset was proven "
            "without them; volume at minimum, no speaker."
            if driven
            else "Attach the leads by insulated clips; volume at minimum, no signal, no speaker.",
            "attach leads and loads" if driven else "attach the leads",
            PowerState.SAFE,
            cautions=("What is not attached now is not attached until it is safe again.",),
        ),
    )


def _power_up(to_state: PowerState) -> tuple[SafetyStep, ...]:
    words, brief = {
        PowerState.LIMITED: (
            "Put the series lamp into the mains line, then plug in.",
            "put the series lamp in line and plug in",
        ),
        PowerState.REDUCED: (
            "Plug into the variable transformer, set to zero, with a meter in the mains current.",
            "plug into the variable transformer at zero",
        ),
    }.get(
        to_state,
        (
            "Take lamp or variable transformer out, then plug in.",
            "leave any limiter out and plug in",
        ),
    )
    plug = SafetyStep(words, brief, PowerState.OFF)
    if to_state is PowerState.REDUCED:
        words, brief = (
            "Switch on and raise it slowly; turn back if the current runs up.",
            "raise it",
        )
    else:
        words, brief = "Switch on, note the time, and read without touching.", "switch on"
    reached = PowerState.MAINS if to_state is PowerState.DRIVEN else to_state
    on = SafetyStep(words, brief, reached, cautions=CAUTIONS[reached])
    return (plug, on, *(_drive() if to_state is PowerState.DRIVEN else ()))


def _drive() -> tuple[SafetyStep, ...]:
    return (
        SafetyStep(
            f"Measure the offset of both channels: below {PROVEN_OFFSET_V * 1000:g} mV, and the "
            "relay heard to close.",
            "prove the offset",
            PowerState.MAINS,
            OFFSET,
        ),
        SafetyStep(
            "Bring the signal up from silence.",
            "bring the signal up from silence",
            PowerState.DRIVEN,
            cautions=CAUTIONS[PowerState.DRIVEN],
        ),
    )
