"""Spaces: the built-in house, a simulated one, any table; with plant, neighbours and tariff."""
