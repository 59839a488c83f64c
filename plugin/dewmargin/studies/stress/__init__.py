"""Stress: how sure a comparison is, by drawing its doubtful inputs again and again."""
