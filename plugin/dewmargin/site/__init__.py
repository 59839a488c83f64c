"""What an installer checks on site: sensor, control circuit, water line, measured values."""
