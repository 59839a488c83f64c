"""Reports: what is written to a folder, shown in a notebook and printed."""
