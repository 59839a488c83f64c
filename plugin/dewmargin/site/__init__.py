"""Checks on site, by an installer: sensor, control circuit, water line, measured values."""
