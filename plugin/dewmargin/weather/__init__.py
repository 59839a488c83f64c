"""Weather: a year of hours from an EPW file, and what its climate asks for."""
