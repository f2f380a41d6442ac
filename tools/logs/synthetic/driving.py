"""Invented drives: quantities of a car over time, at 100 points a second, from a seed."""

from dataclasses import dataclass

import numpy as np

from tools.logs.table import Array

POINTS_PER_SECOND = 100


@dataclass(frozen=True, slots=True)
class Series:
    """A quantity over time, with the range it can have."""

    name: str
    values: Array
    low: float
    high: float

    def at(self, time_us: Array) -> Array:
        """Return the value at times in microseconds, linear between points."""
        grid = np.arange(len(self.values)) * (1_000_000 / POINTS_PER_SECOND)
        return np.asarray(np.interp(time_us, grid, self.values))


def drive(seconds: float, seed: int) -> dict[str, Series]:
    """Return the quantities of one drive; the same seed gives the same drive."""
    chance = np.random.default_rng(seed)
    count = int(seconds * POINTS_PER_SECOND) + 2
    speed = _wandering(chance, count, 0, 130, 12.0)
    gear = np.digitize(speed, [18, 35, 55, 80]) + 1
    ratio = np.array([0, 130, 75, 50, 37, 30])[gear]
    engine = np.clip(_smooth(speed * ratio, 30), 800, None) + chance.normal(0, 4, count)
    pedal = np.clip(_wandering(chance, count, -25, 105, 2.0), 0, 100)
    torque = 260 * (np.clip(pedal, 0, 100) / 100) ** 0.7 - 40 + chance.normal(0, 1.0, count)
    torque = torque + _wandering(chance, count, -40, 40, 3.0)
    angle = _wandering(chance, count, -420, 420, 1.5)
    coolant = 20 + 72 * (1 - np.exp(-np.arange(count) / (POINTS_PER_SECOND * 150.0)))
    coolant = coolant + _wandering(chance, count, -3, 3, 9.0)
    voltage = 13.6 + chance.normal(0, 0.02, count) + _wandering(chance, count, -0.7, 0.7, 4.0)
    pressure = 1 + np.sqrt(engine / 1200) + _wandering(chance, count, -0.6, 0.6, 6.0)
    made = {
        "road_speed": (speed, 0, 300),
        "engine_speed": (engine, 0, 8000),
        "pedal": (pedal, 0, 100),
        "torque": (torque, -500, 500),
        "steering_angle": (angle, -900, 900),
        "yaw_rate": (angle * speed / 900 + chance.normal(0, 0.15, count), -300, 300),
        "coolant": (coolant, -40, 150),
        "voltage": (voltage, 0, 20),
        "oil_pressure": (pressure + chance.normal(0, 0.02, count), 0, 10),
        "air_mass": (engine * (0.02 + pedal / 900) + chance.normal(0, 0.4, count), 0, 1200),
        "brake_pressure": (np.clip(_wandering(chance, count, -60, 90, 2.5), 0, 90), 0, 200),
        "acceleration": (np.gradient(speed) * 27 + chance.normal(0, 0.05, count), -20, 20),
    }
    return {
        name: Series(name, np.clip(values, low, high), low, high)
        for name, (values, low, high) in made.items()
    }


def _wandering(
    chance: np.random.Generator, count: int, low: float, high: float, hold_s: float
) -> Array:
    """Return targets held for about `hold_s` seconds each, approached smoothly."""
    pieces = max(2, int(count / POINTS_PER_SECOND / hold_s) + 2)
    targets = chance.uniform(low, high, pieces)
    places = np.sort(chance.uniform(0, count, pieces))
    steps = np.interp(np.arange(count), places, targets)
    return _smooth(steps, max(3, int(hold_s * POINTS_PER_SECOND / 4)))


def _smooth(values: Array, points: int) -> Array:
    """Return a running mean over a number of points."""
    padded = np.pad(values, (points, points), mode="edge")
    total = np.cumsum(padded)
    width = 2 * points
    return np.asarray((total[width:] - total[:-width])[: len(values)] / width)
