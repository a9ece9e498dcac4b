"""Simulated ageing of prints, negatives and paper, kept apart from the program that is judged with it.

Nothing here imports the program. Pictures are float32 arrays (height, width, 3) of linear light, 1.0 = perfect white,
in sRGB primaries. Every kind of original has its own module with a frozen record of parameters, `sample(rng, level)`
that draws one for a level of ageing, and functions array -> array.
"""

from typing import Literal, get_args

Level = Literal["unfaded", "mild", "medium", "severe"]
LEVELS: tuple[Level, ...] = get_args(Level)
