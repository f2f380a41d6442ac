"""What a person wants to assume for once, in place of what the traffic tables say."""

from dataclasses import dataclass, replace

from xlate_core.errors import InputError
from xlate_core.pairing import Pairing
from xlate_core.pairing.schema_traffic import LONGEST_US

MOST_ERRORS = 1000
MOST_SKEW_PPM = 10_000


@dataclass(frozen=True, slots=True)
class Assumed:
    """Disturbed frames at once, one more every so many us, clock error; None = as the pairing."""

    errors: int | None = None
    error_interval_us: int | None = None
    skew_ppm: int | None = None

    def __post_init__(self) -> None:
        """Raise InputError for a number out of its range."""
        limits = (
            ("--errors", self.errors, MOST_ERRORS),
            ("--error-interval-us", self.error_interval_us, LONGEST_US),
            ("--skew-ppm", self.skew_ppm, MOST_SKEW_PPM),
        )
        for option, found, most in limits:
            if found is not None and not 0 <= found <= most:
                raise InputError(f"{option}: found {found}, expected 0 to {most}")

    def of(self, pairing: Pairing) -> Pairing:
        """Return the pairing with what is assumed on both buses."""
        traffic = pairing.traffic
        body, engine = (
            replace(
                bus,
                errors=bus.errors if self.errors is None else self.errors,
                error_interval_us=bus.error_interval_us
                if self.error_interval_us is None
                else self.error_interval_us,
            )
            for bus in traffic.buses
        )
        skew = traffic.skew_ppm if self.skew_ppm is None else self.skew_ppm
        return replace(pairing, traffic=replace(traffic, buses=(body, engine), skew_ppm=skew))
