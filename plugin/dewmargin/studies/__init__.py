"""Studies: what is asked of a scenario, from one comparison to every combination."""
