"""Offset that the input pair's base currents and base-emitter voltages make at the output."""

from __future__ import annotations

from dataclasses import dataclass

from backtospec.quantity import Measured


@dataclass(frozen=True, slots=True)
class InputPair:
    """A differential input pair with what feeds its bases.

    Parameters
    ----------
    tail_a
        Tail current, amperes, shared by both devices.
    hfe_1, hfe_2
        Current gains of the device at the input and of the one at the feedback.
    ohm_1, ohm_2
        Resistance from each base to where its current comes from, the source included.
    vbe_difference_v
        Base-emitter voltage of the first less that of the second.
    dc_gain
        Gain for direct voltage: 1 where a capacitor stands in the feedback path.
    """

    tail_a: Measured
    hfe_1: Measured
    hfe_2: Measured
    ohm_1: Measured
    ohm_2: Measured
    vbe_difference_v: Measured
    dc_gain: Measured

    @property
    def drop_1_v(self) -> Measured:
        """What the first base current drops across its resistance."""
        return base_current(self.tail_a, self.hfe_1) * self.ohm_1

    @property
    def drop_2_v(self) -> Measured:
        """What the second base current drops across its resistance."""
        return base_current(self.tail_a, self.hfe_2) * self.ohm_2

    def offset_v(self) -> Measured:
        """Return the predicted output offset, signed for an NPN pair; a PNP pair mirrors it.

        Notes
        -----
        The method is that of diyaudio.com thread 40721: half the tail over the gain, times the
        resistance. The loop holds the second base at the output less the second drop, so that
        with equal resistances only the imbalance counts (from memory). It holds at low
        frequency with the loop closed and neither device near saturation.

        Examples
        --------
        One milliampere, gains of 100 and 125, 9.4 kΩ on both sides:

        >>> ohm, one = Measured(9400.0), Measured(1.0)
        >>> pair = InputPair(
        ...     Measured(1e-3), Measured(100.0), Measured(125.0), ohm, ohm, Measured(0.0), one
        ... )
        >>> print(pair.drop_1_v, pair.drop_2_v, pair.offset_v())
        0.047 0.0376 -0.0094
        """
        return (self.drop_2_v - self.drop_1_v - self.vbe_difference_v) * self.dc_gain

    def ohm_2_for_zero(self) -> Measured | None:
        """Return the second resistance that would null it, or ``None`` where none could."""
        drop = self.drop_1_v + self.vbe_difference_v
        return drop / base_current(self.tail_a, self.hfe_2) if drop.value > 0 else None


def base_current(tail_a: Measured, hfe: Measured) -> Measured:
    """Return the base current of one device of a pair that shares its tail evenly.

    Parameters
    ----------
    tail_a
        Tail current, amperes.
    hfe
        Current gain, above zero.

    Examples
    --------
    At 1.6 mA in each device, gains of 80 to 400 take the 20 to 4 µA of a published matching jig
    (gatech.edu amplifier construction notes, part 2):

    >>> print(base_current(Measured(3.2e-3), Measured(80.0)))
    2e-05
    >>> print(base_current(Measured(3.2e-3), Measured(400.0)))
    4e-06
    """
    return tail_a / 2 / hfe


def mismatch_percent(one: Measured, other: Measured) -> Measured:
    """Return by how much two current gains differ, in percent of their mean.

    Examples
    --------
    >>> print(mismatch_percent(Measured(100.0), Measured(300.0)))
    100
    """
    return abs(one - other) / ((one + other) / 2) * 100
