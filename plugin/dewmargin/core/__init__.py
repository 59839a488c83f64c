"""What every room needs: checked values, TOML files, extensions, threads, stored results."""
