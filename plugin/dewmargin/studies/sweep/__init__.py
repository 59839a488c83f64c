"""Sweep: every combination of inputs, as a dataset that survives what may happen."""
