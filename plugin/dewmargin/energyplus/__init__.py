"""The EnergyPlus engine: its models, its runs, and the files that it writes."""
