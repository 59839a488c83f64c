"""Readers of weather, simulation results and the built-in house."""
