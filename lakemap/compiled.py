"""Loops compiled by numba, kept on disk for the next run; importing this takes numba's time to load, so only modules of
kernels do it, and these are imported where their loops run."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

from numba import njit

Loop = TypeVar("Loop", bound=Callable[..., object])


def kernel(error_model: str = "python") -> Callable[[Loop], Loop]:
    """Compile a function when it is first called and keep the result beside it, or in the user's cache folder.

    Where neither can be written (an installation without write permission, run by somebody without a home) it is
    compiled anew in each run instead of failing. ``error_model`` ``numpy`` divides by zero as numpy does.
    """
    compile_: Any = njit

    def compiled(function: Loop) -> Loop:
        try:
            found: Loop = compile_(cache=True, error_model=error_model)(function)
        except RuntimeError:
            found = compile_(error_model=error_model)(function)
        return found

    return compiled
