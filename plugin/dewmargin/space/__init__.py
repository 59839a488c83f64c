"""The space: the built-in house, a simulated one or any table, with plant, neighbours, tariff."""
