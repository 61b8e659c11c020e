"""What to mind in each power state: in full the first time, in one line from then on."""

from __future__ import annotations

from backtospec.records import PowerState

CAUTIONS: dict[PowerState, tuple[str, ...]] = {
    PowerState.SAFE: (
        "Safe is what was measured, not what was done: measure again after every break, the "
        "charge comes back (dielectric absorption).",
        "The plug lies in sight, where nobody else can put it in.",
    ),
    PowerState.OFF: (
        "Off is still dangerous: plugged in, the switch, the fuses and the rear outlets are live.",
        "The filter capacitors hold their charge: a slip of the probe still kills an output stage "
        "(vintage-radio.net showpost p=1308827).",
        "Touch nothing inside, move no lead.",
    ),
    PowerState.LIMITED: (
        "Eye protection on, nobody leaning over it: a capacitor can burst at first power.",
        "One hand only; the other one stays away from the chassis.",
        "The residual-current device stays in. It protects nobody behind an isolating transformer, "
        "and neither protects from hand to hand across the rails.",
        "The lamp limits the current, not the voltage: all of it can be on the chassis.",
        "A flash that dims is charging; a lamp that stays bright means off at once "
        "(antiqueradio.org/dimbulb.htm).",
        "No speaker, no load.",
    ),
    PowerState.REDUCED: (
        "Eye protection on, nobody leaning over it: a capacitor can burst at first power.",
        "One hand only; the residual-current device stays in.",
        "A variable transformer limits the voltage and not the current "
        "(wattsabundant.com/id3.html), and it does not isolate: an earthed instrument on a hot "
        "chassis makes a short.",
        "No speaker, no load. Where the gate bias must come before the rails (V-FET) it is not "
        "raised slowly at all.",
    ),
    PowerState.MAINS: (
        "Full mains, no limiter: nothing but a fuse stands between a fault and the parts.",
        "One hand only; the residual-current device stays in. An earthed laptop or generator "
        "undoes an isolating transformer.",
        "Leads are read, never moved: clips are insulated and were attached while it was safe.",
        "No speaker until the offset is proven.",
    ),
    PowerState.DRIVEN: (
        "Load resistors burn: hot enough to blister and to set fire to paper, long after.",
        "Dummy loads only; a speaker when the offset is proven and the work is done.",
        "Grounds joined at both ends can destroy an amplifier "
        "(forums.phxaudiotape.com/goto/post?id=236324). A black terminal may not be ground: a "
        "bridged, inverted or floating output does not survive an earthed clip.",
        "Full power only for seconds; one hand; never unattended.",
    ),
}
"""What to mind in each state, in full."""

REMINDER: dict[PowerState, str] = {
    PowerState.SAFE: "Safe only as measured: measure again after every break.",
    PowerState.OFF: "Off is still dangerous: touch nothing, move no lead.",
    PowerState.LIMITED: "On the lamp: one hand, no speaker; bright means off at once.",
    PowerState.REDUCED: "Reduced: neither current-limited nor isolated; one hand, no speaker.",
    PowerState.MAINS: "Full mains: one hand, no lead is moved, no speaker before the offset.",
    PowerState.DRIVEN: "Loads burn: dummy loads only, full power for seconds.",
}
"""The same in one line, once it has been read in full."""
