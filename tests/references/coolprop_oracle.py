"""CoolProp, imported when a test first asks it: that alone takes two seconds."""
# ruff: noqa: PLC0415

from __future__ import annotations


def water(output: str, *state: object) -> float:
    """Return a property of water, as `PropsSI`."""
    from CoolProp.CoolProp import PropsSI

    return float(PropsSI(output, *state, "Water"))


def humid_air(output: str, *state: object) -> float:
    """Return a property of humid air, as `HAPropsSI`."""
    from CoolProp.HumidAirProp import HAPropsSI

    return float(HAPropsSI(output, *state))
