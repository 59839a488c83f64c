"""Strategies: rules that choose the relative humidity to hold, hour by hour."""
