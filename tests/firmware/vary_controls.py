"""Settings of pedal, cruise buttons and mode selector drawn anew."""

import dataclasses
import random

from xlate_core.functions import FunctionSpec
from xlate_core.functions.accelerator_pedal import AcceleratorPedalSpec
from xlate_core.functions.cruise_buttons import CruiseButtonsSpec
from xlate_core.functions.mode_selector import ModeSelectorSpec

replace = dataclasses.replace


def vary_control(spec: FunctionSpec, source: random.Random) -> FunctionSpec:
    """Wide tolerances, low speeds and short times, so that random pins reach every state."""
    if isinstance(spec, AcceleratorPedalSpec):
        return replace(
            spec,
            tolerance=((0, source.choice((0, 300, 600))), (1000, source.choice((0, 500)))),
            disagreement=source.randrange(30),
            agreement=source.randrange(30),
            lower_when_apart=source.random() < 0.5,
            limp_limit=source.choice((0, 200, 1000)),
            rise=source.choice((1, 333, 4250, 100000)),
            brake_releases_limp=source.random() < 0.5,
            override_above=source.choice((0, 250, 700)),
            override_below=source.choice((1, 50, 250)),
            override_after=source.randrange(10),
            brake_lost_pressed=source.random() < 0.5,
        )
    if isinstance(spec, CruiseButtonsSpec):
        return replace(
            spec,
            debounce=source.randrange(4),
            stuck=source.randrange(1, 40),
            speed_low=source.choice((0, 60)),
            speed_high=source.choice((160, 400)),
            feedback_after=source.randrange(12),
            cancels=spec.cancels[: source.randrange(len(spec.cancels) + 1)],
        )
    if isinstance(spec, ModeSelectorSpec):
        long = source.randrange(1, 10)
        held = long + source.randrange(10)
        return replace(
            spec,
            long=long,
            held=held,
            stuck=held + source.randrange(1, 30),
            keep_on_loss=source.random() < 0.5,
            every_cycle=source.random() < 0.5,
            on_loss=source.randrange(spec.lowest, spec.highest + 1),
        )
    return spec
