"""The balance: what a space does with a humidifier, hour by hour, and what its year comes to."""
