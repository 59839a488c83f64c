"""Humidifiers of generic types, and the water that feeds them."""
