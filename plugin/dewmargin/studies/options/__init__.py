"""Options: the one engine of all studies. A building prepared once, many options."""
