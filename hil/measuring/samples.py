"""Times seen, their histogram, and the input that took longest."""

from dataclasses import dataclass, field

BIN = 250  # counts a bar of the histogram is wide


@dataclass(slots=True)
class Samples:
    """Times of one kind of call. `where` says which input took longest."""

    count: int = 0
    least: int = 0
    most: int = 0
    where: str = ""
    total: int = 0
    bins: dict[int, int] = field(default_factory=dict)

    def add(self, time: int, where: str) -> None:
        """Take one time."""
        if self.count == 0 or time < self.least:
            self.least = time
        if time > self.most:
            self.most, self.where = time, where
        self.count += 1
        self.total += time
        self.bins[time // BIN] = self.bins.get(time // BIN, 0) + 1

    def merge(self, other: "Samples") -> None:
        """Take the times of another."""
        if not other.count:
            return
        self.least = min(self.least, other.least) if self.count else other.least
        if other.most > self.most:
            self.most, self.where = other.most, other.where
        self.count += other.count
        self.total += other.total
        for place, times in other.bins.items():
            self.bins[place] = self.bins.get(place, 0) + times

    def plain(self) -> dict[str, object]:
        """Return everything as JSON holds it."""
        return {
            "count": self.count,
            "least": self.least,
            "mean": self.total // max(self.count, 1),
            "most": self.most,
            "where": self.where,
            "histogram": {str(place * BIN): self.bins[place] for place in sorted(self.bins)},
        }


def bars(samples: Samples, width: int = 40) -> list[str]:
    """Return the histogram as lines of text, one a bar; bars grow with the logarithm."""
    if not samples.bins:
        return []
    longest = max(samples.bins.values()).bit_length()
    lines = []
    for place in range(min(samples.bins), max(samples.bins) + 1):
        times = samples.bins.get(place, 0)
        bar = "#" * (times.bit_length() * width // max(longest, 1))
        lines.append(f"  {place * BIN:>6} .. {place * BIN + BIN - 1:>6} {times:>8} {bar}")
    return lines
