"""Plain alive counters (rule 5)."""

from dataclasses import dataclass

from xlate_core.signals import SignalSpec

NO_REFERENCE = 0xFFFF  # the counter reference while the next frame goes unchecked


@dataclass(frozen=True, slots=True)
class CounterSpec:
    """A plain alive counter 0..modulo-1; a step of 1..max_step is good, 0 is a repetition.

    `first` is the one that is sent first.
    """

    signal: SignalSpec
    modulo: int
    max_step: int
    first: int = 0

    @property
    def before_first(self) -> int:
        """The counter before anything was sent."""
        return (self.first - 1) % self.modulo


def counter_good(spec: CounterSpec, reference: int, counter: int) -> bool:
    """Return whether the received counter follows the reference (rule 5).

    With no reference (after reset, loss or a restart of supervision) any counter is good.
    """
    if reference == NO_REFERENCE:
        return True
    if counter >= spec.modulo:
        return False
    return 1 <= (counter - reference) % spec.modulo <= spec.max_step


def next_counter(spec: CounterSpec, counter: int) -> int:
    """Return the counter that follows on transmission."""
    return 0 if counter + 1 >= spec.modulo else counter + 1
