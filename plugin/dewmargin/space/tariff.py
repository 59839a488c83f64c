"""Tariff: prices of energy and water, and the carbon in them; given by the user."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from dewmargin.inputs import Inputs

Carrier = Literal["electricity", "gas", "oil", "wood", "district_heat"]
Price = Annotated[float, Field(ge=0.0, le=1e6)]


class Tariff(Inputs):
    """Prices and carbon factors, with where they come from; what is not given is not known."""

    source: str = Field(
        min_length=1,
        description="Where prices and factors come from, with a date, as it shall stand in reports",
    )
    currency: str = Field(min_length=1, max_length=8, description="Unit of money, such as EUR")
    electricity_per_kwh: Price | None = Field(None, description="Price of electricity")
    gas_per_kwh: Price | None = Field(None, description="Price of gas, by the heat value billed")
    oil_per_kwh: Price | None = Field(None, description="Price of oil")
    wood_per_kwh: Price | None = Field(None, description="Price of wood")
    district_heat_per_kwh: Price | None = Field(None, description="Price of district heat")
    water_per_m3: Price | None = Field(None, description="Price of water supplied")
    sewer_per_m3: Price | None = Field(
        None, description="Price of waste water; default: none is charged apart"
    )
    sewer_counts: Literal["supply", "drain"] = Field(
        "supply",
        description="What waste water is billed by: the water supplied, or what really drains; "
        "default: supply, common practice",
    )
    electricity_co2_kg_kwh: Price | None = Field(None, description="Carbon dioxide of electricity")
    gas_co2_kg_kwh: Price | None = Field(
        None, description="Carbon dioxide of gas, by the same heat value as its price"
    )
    oil_co2_kg_kwh: Price | None = Field(None, description="Carbon dioxide of oil")
    wood_co2_kg_kwh: Price | None = Field(None, description="Carbon dioxide of wood")
    district_heat_co2_kg_kwh: Price | None = Field(
        None, description="Carbon dioxide of district heat"
    )

    def price(self, carrier: str) -> float | None:
        """Return the price of a kilowatt-hour, or None if it is not given."""
        found: float | None = getattr(self, f"{carrier}_per_kwh")
        return found

    def carbon(self, carrier: str) -> float | None:
        """Return the carbon dioxide of a kilowatt-hour, or None if it is not given. [kg]."""
        found: float | None = getattr(self, f"{carrier}_co2_kg_kwh")
        return found
