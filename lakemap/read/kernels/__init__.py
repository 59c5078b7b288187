"""Compiled loops of readers. Numba takes its time to load: import these only inside the function that runs them."""
