"""Compare: every option of a scenario, with its hours, and which to choose."""
